r"""Text of the maker's as a terminal, a page or another program may be given it.

Titles, names and file names come from outside. Control characters in them can move a
terminal's cursor, change its title or turn the reading direction; parts of a file name
that are no text cannot be written in any encoding. Both become visible escapes.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# Blanks of other widths, and what joins letters and signs; all else that is unseen is escaped.
_HARMLESS = frozenset(
    "\t\N{NO-BREAK SPACE}\N{NARROW NO-BREAK SPACE}\N{THIN SPACE}\N{IDEOGRAPHIC SPACE}"
    "\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}\N{SOFT HYPHEN}"
)


def printable(text: str) -> str:
    r"""Return text on one line with nothing in it that a terminal acts on.

    >>> printable("gold\x1b[2J tag\n")
    'gold\\x1b[2J tag\\n'
    >>> printable("IMG_\udcff.jpg"), printable("Étiquette, 5 µm")
    ('IMG_\\xff.jpg', 'Étiquette, 5 µm')
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(map(_seen, text))


def _seen(character: str) -> str:
    if character.isprintable() or character in _HARMLESS:
        return character
    if "\udc80" <= character <= "\udcff":  # a byte of a file name that is not UTF-8
        return f"\\x{ord(character) - 0xDC00:02x}"
    return character.encode("unicode_escape").decode()


def writable(value: Any) -> Any:
    r"""Return plain values whose texts can be written as UTF-8; control characters stay.

    >>> writable({"file": "IMG_\udcff.jpg", "ties": ["\x1b.jpg"]})
    {'file': 'IMG_\\xff.jpg', 'ties': ['\x1b.jpg']}
    """
    if isinstance(value, str):
        return value if _is_text(value) else "".join(c if _is_text(c) else _seen(c) for c in value)
    if isinstance(value, Mapping):
        return {writable(name): writable(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [writable(inner) for inner in value]
    return value


def _is_text(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
