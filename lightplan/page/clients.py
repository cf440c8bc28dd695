"""The tabs that are open: each gets every message in order, and only the latest picture."""

from __future__ import annotations

import asyncio
import json
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocket, WebSocketDisconnect

if TYPE_CHECKING:
    from collections.abc import Mapping

LATEST = ("work", "layout")
"""Messages of which the last says all; they come with every move of a hand."""
MOST_WAITING = 500
"""Messages that may wait for a tab; one that sleeps longer is let go and comes back afresh."""


class Client:
    """One tab."""

    def __init__(self, socket: WebSocket) -> None:
        self.socket = socket
        self._texts: list[tuple[str, str]] = []
        self._latest: dict[str, bytes] = {}
        self._ready = asyncio.Event()
        self.lost = False

    def say(self, message: Mapping[str, Any]) -> None:
        """Send a message; one that says all takes the place of its like that still waits."""
        kind = str(message.get("is"))
        if kind in LATEST:
            self._texts = [one for one in self._texts if one[0] != kind]
        self._texts.append((kind, json.dumps(message, ensure_ascii=False, allow_nan=False)))
        if len(self._texts) > MOST_WAITING:
            self.lost = True
        self._ready.set()

    def show(self, kind: str, picture: bytes) -> None:
        """Send a picture, unless a newer one of its kind comes before it could leave."""
        self._latest[kind] = picture
        self._ready.set()

    async def pump(self) -> None:
        """Send what is to be sent until the tab goes."""
        try:
            while not self.lost:
                await self._ready.wait()
                self._ready.clear()
                texts, self._texts = self._texts, []
                pictures, self._latest = self._latest, {}
                for _, text in texts:
                    await self.socket.send_text(text)
                for picture in pictures.values():
                    await self.socket.send_bytes(picture)
        except (WebSocketDisconnect, RuntimeError, OSError):
            self.lost = True


class Clients:
    """All tabs."""

    def __init__(self) -> None:
        self._all: set[Client] = set()

    def add(self, client: Client) -> None:
        """Take a tab in."""
        self._all.add(client)

    def remove(self, client: Client) -> None:
        """Let a tab go."""
        self._all.discard(client)

    def __len__(self) -> int:
        return len(self._all)

    def say(self, message: Mapping[str, Any]) -> None:
        """Send a message to every tab."""
        for client in self._all:
            client.say(message)

    def show(self, kind: str, picture: bytes) -> None:
        """Send a picture to every tab."""
        for client in self._all:
            client.show(kind, picture)
