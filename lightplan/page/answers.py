"""What the web application answers: its files, what is made, what is dropped in, its WebSocket."""

from __future__ import annotations

import asyncio
import contextlib
import json
import mimetypes
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.websockets import WebSocket, WebSocketDisconnect

from lightplan.faults import CAUGHT, as_told
from lightplan.page.clients import Client
from lightplan.page.inbox import Inbox
from lightplan.page.uploads import TooLarge, received

if TYPE_CHECKING:
    from starlette.requests import Request

    from lightplan.page.desk import Desk

STATIC = Path(__file__).parent / "static"
KINDS = {
    ".html": "text/html",
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}


class Answers:
    """Answers requests for a desk."""

    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    async def page(self, _: Request) -> Response:
        """Return the page itself."""
        return _static("index.html")

    async def static(self, request: Request) -> Response:
        """Return a file of the page."""
        return _static(request.path_params["name"])

    async def made(self, request: Request) -> Response:
        """Return something that was made: a preset's picture, a setup sheet, a photograph."""
        found = await self._desk.made(request.path_params["kind"], request.path_params["mark"])
        if found is None:
            return PlainTextResponse("This is not there any more.", 404)
        content, kind = found
        headers = {"cache-control": "private, max-age=3600"}
        if isinstance(content, Path):
            return FileResponse(content, media_type=kind, headers=headers)
        return Response(content, media_type=kind, headers=headers)

    async def upload(self, request: Request) -> Response:
        """Take a file that was dropped, and return what the page needs to know of it."""
        try:
            file = await received(request)
        except TooLarge as error:
            return JSONResponse({"error": str(error)}, 413)
        except CAUGHT as error:
            return JSONResponse({"error": str(as_told(error))}, 400)
        try:
            return JSONResponse(await self._desk.take(file, request.path_params["purpose"]))
        except CAUGHT as error:
            return JSONResponse({"error": str(as_told(error))}, 400)

    async def socket(self, connection: WebSocket) -> None:
        """Hear and tell a tab for as long as it is there."""
        await connection.accept()
        client, inbox = Client(connection), Inbox()
        ways = (client.pump(), _listen(connection, inbox), self._answer(client, inbox))
        tasks = [asyncio.create_task(way) for way in ways]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                task.result()  # a fault of ours is told where the page was started
        finally:
            self._desk.clients.remove(client)
            for task in tasks:
                task.cancel()
            await asyncio.gather(*tasks, return_exceptions=True)

    async def _answer(self, client: Client, inbox: Inbox) -> None:
        """Do what a tab asks, one thing after the other."""
        await self._desk.welcome(client)
        while True:
            await self._desk.hear(client, await inbox.get())


async def _listen(connection: WebSocket, inbox: Inbox) -> None:
    """Take in what a tab says for as long as it is there."""
    with contextlib.suppress(WebSocketDisconnect, RuntimeError, KeyError):
        while True:
            await inbox.put(_message(await connection.receive_text()))


def _static(name: str) -> Response:
    """Return one of the page's own files; names that lead elsewhere find nothing."""
    missing = PlainTextResponse("There is no such file.", 404)
    if "\0" in name:
        return missing
    path = (STATIC / name).resolve()
    if not path.is_relative_to(STATIC.resolve()) or not path.is_file():
        return missing
    kind = KINDS.get(path.suffix) or mimetypes.guess_type(path.name)[0]
    return Response(path.read_bytes(), media_type=kind, headers={"cache-control": "no-cache"})


def _message(text: str) -> dict[str, Any]:
    """Return what a tab says; nonsense becomes an empty message, which nobody knows."""
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}
