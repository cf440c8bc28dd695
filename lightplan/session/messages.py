"""Messages between two of our processes: plain facts and bytes, nothing that could be run.

A process that decodes what came from outside may have been taken over by it. So what it says is
read as JSON and bytes of a bounded length, never as objects.
"""

from __future__ import annotations

import json
import struct
from typing import IO, TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 256 << 20
"""Of one message; a photographed print and its foil take 30 MB."""


def write(stream: IO[bytes], told: Mapping[str, Any], *bodies: bytes) -> None:
    """Send a message: its length, facts with the bodies' sizes, the bodies."""
    facts = json.dumps({**told, "sizes": [len(body) for body in bodies]}, allow_nan=False).encode()
    stream.write(b"".join((struct.pack("<I", len(facts)), facts, *bodies)))
    stream.flush()


def read(stream: IO[bytes]) -> tuple[dict[str, Any], tuple[bytes, ...]]:
    """Return the facts and the bodies of the next message.

    Raises
    ------
    EOFError
        Nobody speaks there any more.
    ValueError
        What came is no message of ours.
    """
    told = json.loads(_exactly(stream, struct.unpack("<I", _exactly(stream, 4))[0]), **_STRICT)
    sizes = told.pop("sizes", None) if isinstance(told, dict) else None
    if not isinstance(sizes, list) or not all(type(n) is int and n >= 0 for n in sizes):
        raise ValueError("no message of ours")
    if sum(sizes) > MOST_BYTES:
        raise ValueError("a message that is too long")
    return told, tuple(_exactly(stream, size) for size in sizes)


def _exactly(stream: IO[bytes], count: int) -> bytes:
    if count > MOST_BYTES:
        raise ValueError("a message that is too long")
    found = stream.read(count)
    if len(found) < count:
        raise EOFError
    return found


def _no_number(name: str) -> float:
    raise ValueError(f"{name} is no number")


_STRICT: dict[str, Any] = {"parse_constant": _no_number}
