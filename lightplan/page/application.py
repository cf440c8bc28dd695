"""The web application: what it answers, behind its guard, for as long as the desk is open."""

from __future__ import annotations

import asyncio
import contextlib
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.routing import Route, WebSocketRoute

from lightplan.page.answers import Answers
from lightplan.page.guard import Guard

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Callable

    from starlette.types import ASGIApp

    from lightplan.page.desk import Desk


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

    answers = Answers(desk)
    routes = [
        Route("/", answers.page),
        Route("/static/{name:path}", answers.static),
        Route("/made/{kind}/{mark}", answers.made),
        Route("/upload/{purpose}", answers.upload, methods=["POST"]),
        WebSocketRoute("/socket", answers.socket),
    ]
    return Guard(Starlette(routes=routes, lifespan=life), key=key, port=port)
