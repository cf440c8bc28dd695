"""Files that are dropped on the page: of a known kind, of a bounded size, under our own name."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Mapping

    from starlette.requests import Request

MOST_BYTES = {
    "photo": 120 << 20,
    "artwork": 30 << 20,
    "rig": 1 << 20,
    "camera": 120 << 20,
    "print": 120 << 20,
}
SUFFIXES = {
    "photo": {
        ".jpg",
        ".jpeg",
        ".png",
        ".tif",
        ".tiff",
        ".heic",
        ".heif",
        ".dng",
        ".cr2",
        ".cr3",
        ".nef",
        ".arw",
        ".raf",
        ".orf",
        ".rw2",
    },
    "artwork": {".png", ".svg", ".pdf", ".jpg", ".jpeg"},
    "rig": {".toml"},
}
SUFFIXES["camera"] = SUFFIXES["print"] = SUFFIXES["photo"]
MOST_NAME = 120
MOST_TOLD = 1000


class TooLarge(BadInput):
    """A file that is larger than what is taken."""


@dataclass(frozen=True)
class Dropped:
    """A file as it came: its name as text to show, its bytes, and what was answered before it."""

    name: str
    suffix: str
    content: bytes
    answers: Mapping[str, Any] = field(default_factory=dict)


async def received(request: Request) -> Dropped:
    """Return what was sent, read no further than its bound.

    Raises
    ------
    TooLarge, BadInput
        Of a purpose, kind or size that is not taken.
    """
    purpose = request.path_params["purpose"]
    if purpose not in MOST_BYTES:
        raise BadInput(
            field="purpose", wanted="one that the page knows", got=purpose, cure="drop it elsewhere"
        )
    name = shown_name(unquote(request.headers.get("x-name", "file"))[: 4 * MOST_NAME])
    suffix = PurePosixPath(name).suffix.lower()
    if suffix not in SUFFIXES[purpose]:
        raise BadInput(
            field="file",
            wanted="one of " + ", ".join(sorted(SUFFIXES[purpose])),
            got=suffix if suffix else "no ending",
            cure="save it as one of these",
            file=name,
        )
    most = MOST_BYTES[purpose]
    told = request.headers.get("content-length", "")
    content = bytearray()
    if not (told.isdigit() and int(told) > most):
        async for piece in request.stream():
            content += piece
            if len(content) > most:
                break
        else:
            return Dropped(name, suffix, bytes(content), _answers(request))
    raise TooLarge(
        field="file",
        wanted=f"at most {most >> 20} MB",
        got="more",
        cure="save it smaller",
        file=name,
    )


def _answers(request: Request) -> dict[str, Any]:
    """Return the answers that a file goes with; nonsense counts as none."""
    told = unquote(request.headers.get("x-answers", "")[: 3 * MOST_TOLD])
    try:
        found = json.loads(told) if 0 < len(told) <= MOST_TOLD else {}
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def shown_name(name: str) -> str:
    r"""Return a file's name as plain text: no folders, nothing that cannot be seen.

    >>> shown_name("../../etc/<b>x</b>\u202egpj.exe.jpg")
    'bgpj.exe.jpg'
    """
    base = PureWindowsPath(PurePosixPath(name).name).name
    plain = "".join(c for c in base if c.isprintable() and c not in '<>"&')
    return plain[-MOST_NAME:] if plain.strip(". ") else "file"
