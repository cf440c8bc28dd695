"""Binary messages: a short JSON head that says what follows, then the bytes."""

from __future__ import annotations

import json
import struct
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Mapping


def packed(head: Mapping[str, Any], *bodies: bytes) -> bytes:
    """Return a message: length of the head, the head with the bodies' sizes, the bodies.

    >>> packed({"is": "x"}, b"ab")[4:]
    b'{"is": "x", "sizes": [2]}ab'
    """
    told = json.dumps({**head, "sizes": [len(body) for body in bodies]}).encode()
    return b"".join((struct.pack("<I", len(told)), told, *bodies))
