"""A tab of the page that hears all and shows nothing."""

from __future__ import annotations

import json
from typing import Any


class Tab:
    """What is said to it must go over the line as JSON."""

    lost = False

    def __init__(self) -> None:
        self.heard: list[dict[str, Any]] = []

    def say(self, message: dict[str, Any]) -> None:
        """Hear a message."""
        json.dumps(message, allow_nan=False)
        self.heard.append(message)

    def show(self, kind: str, picture: bytes) -> None:
        """Take no note."""
