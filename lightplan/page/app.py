"""The web application: one page, its files, one WebSocket, what is dropped in, what is made."""

from __future__ import annotations

import asyncio
import contextlib
import json
import mimetypes
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from lightplan.faults import CAUGHT, as_told
from lightplan.page.clients import Client
from lightplan.page.guard import Guard
from lightplan.page.uploads import TooLarge, received

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.requests import Request
    from starlette.types import ASGIApp

    from lightplan.page.desk import Desk

STATIC = Path(__file__).parent / "static"
KINDS = {
    ".html": "text/html",
    ".js": "text/javascript",
    ".css": "text/css",
    ".svg": "image/svg+xml",
    ".json": "application/json",
}


def make_app(
    desk: Desk,
    *,
    key: str,
    port: int,
    started: Callable[[], None] = lambda: None,
    ended: Callable[[], None] = lambda: None,
) -> ASGIApp:
    """Return the application behind its guard."""

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        desk.begin(asyncio.get_running_loop())
        asyncio.get_running_loop().call_later(0.02, started)
        try:
            yield
        finally:
            await desk.end()
            ended()

    async def page(_: Request) -> Response:
        return _static("index.html")

    async def static(request: Request) -> Response:
        return _static(request.path_params["name"])

    async def made(request: Request) -> Response:
        """Return something that was made: a preset's picture, a setup sheet, a photograph."""
        found = await desk.made(request.path_params["kind"], request.path_params["mark"])
        if found is None:
            return PlainTextResponse("This is not there any more.", 404)
        content, kind = found
        headers = {"cache-control": "private, max-age=3600"}
        if isinstance(content, Path):
            return FileResponse(content, media_type=kind, headers=headers)
        return Response(content, media_type=kind, headers=headers)

    async def upload(request: Request) -> Response:
        try:
            file = await received(request)
        except TooLarge as error:
            return JSONResponse({"error": str(error)}, 413)
        except CAUGHT as error:
            return JSONResponse({"error": str(as_told(error))}, 400)
        try:
            return JSONResponse(await desk.take(file, request.path_params["purpose"]))
        except CAUGHT as error:
            return JSONResponse({"error": str(as_told(error))}, 400)

    async def socket(connection: WebSocket) -> None:
        await connection.accept()
        client = Client(connection)
        pump = asyncio.create_task(client.pump())
        try:
            await desk.welcome(client)
            while not client.lost:
                await desk.hear(client, _message(await connection.receive_text()))
        except (WebSocketDisconnect, RuntimeError, KeyError):
            pass
        finally:
            desk.clients.remove(client)
            pump.cancel()

    routes = [
        Route("/", page),
        Route("/static/{name:path}", static),
        Route("/made/{kind}/{mark}", made),
        Route("/upload/{purpose}", upload, methods=["POST"]),
        WebSocketRoute("/socket", socket),
    ]
    return Guard(Starlette(routes=routes, lifespan=life), key=key, port=port)


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
