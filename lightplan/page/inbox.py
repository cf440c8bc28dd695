"""What a tab has asked and nobody has done yet: of a hand's many moves, the last.

A hand sends moves faster than a busy machine can do them. Each says where a thing now is, so a
later one takes the place of an earlier one that still waits, and nothing queues up.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Mapping
from typing import Any

Message = Mapping[str, Any]
MOST_WAITING = 1000
"""Messages that may wait before a tab is listened to no more until some are done."""
SAYS_WHERE = ("move", "set")
"""Edits that name a place or a size, not a step from the last one."""


class Inbox:
    """Messages of one tab, in order."""

    def __init__(self) -> None:
        self._waiting: deque[Message] = deque()
        self._changed = asyncio.Condition()

    async def put(self, message: Message) -> None:
        """Add a message; wait where too many wait already."""
        async with self._changed:
            await self._changed.wait_for(lambda: len(self._waiting) < MOST_WAITING)
            if self._waiting and _is_overtaken(self._waiting[-1], message):
                self._waiting[-1] = message
            else:
                self._waiting.append(message)
            self._changed.notify_all()

    async def get(self) -> Message:
        """Return the message that waits longest, once there is one."""
        async with self._changed:
            await self._changed.wait_for(lambda: bool(self._waiting))
            message = self._waiting.popleft()
            self._changed.notify_all()
            return message


def _is_overtaken(earlier: Message, later: Message) -> bool:
    """Whether the later message says of the same things, in the same gesture, where they now are.

    >>> a = {"do": "edits", "gesture": 1, "edits": [{"do": "set", "element": "sky", "value": 1}]}
    >>> _is_overtaken(a, {**a, "edits": [{"do": "set", "element": "sky", "value": 2}]})
    True
    >>> _is_overtaken(a, {**a, "gesture": 2})
    False
    """
    about = _about(earlier)
    return about is not None and about == _about(later)


def _about(message: Message) -> list[Any] | None:
    """Return what a message moves, by which gesture; None where it may not be left out."""
    edits, gesture = message.get("edits"), message.get("gesture")
    if message.get("do") != "edits" or gesture is None or not isinstance(edits, list):
        return None
    if not all(isinstance(edit, Mapping) and edit.get("do") in SAYS_WHERE for edit in edits):
        return None
    what = [
        (edit.get("do"), edit.get("element"), edit.get("dimension"), set(edit)) for edit in edits
    ]
    return [gesture, what]
