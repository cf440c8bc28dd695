"""SVG drawings: looked through before they are drawn, and drawn without anything from outside."""

from __future__ import annotations

import zlib
from xml.parsers import expat

LONG_SIDE = 1600
MOST_BYTES = 32 << 20  # of text, unpacked
DEEPEST = 200  # groups in groups; programs that draw stay below 30
MOST_ELEMENTS = 200_000
# Filters whose time grows with settings rather than with the picture, or that draw by themselves.
_ENDLESS = frozenset(
    {
        "feTurbulence",
        "feConvolveMatrix",
        "feMorphology",
        "feDiffuseLighting",
        "feSpecularLighting",
        "feImage",
        "feDisplacementMap",
    }
)
_RUN = frozenset({"script", "foreignObject", "iframe", "audio", "video"})


class Unfit(ValueError):
    """A drawing that is not drawn, with the reason in a few words."""


def svg_as_png(content: bytes) -> bytes:
    """Return a drawing, packed or plain, as a PNG with a longer side of `LONG_SIDE` pixels.

    Raises
    ------
    Unfit
        No SVG, or one with scripts, references to outside, or no end.
    """
    import resvg_py  # here, so that PNG artwork does not need it loaded

    text = _text(content)
    look_through(text)
    try:
        # Both sides are given, so that a drawing of any shape fits into this square.
        return bytes(resvg_py.svg_to_bytes(svg_string=text, width=LONG_SIDE, height=LONG_SIDE))
    except ValueError as error:
        raise Unfit(str(error)) from None


def _text(data: bytes) -> str:
    if data[:2] == b"\x1f\x8b":
        unpacker = zlib.decompressobj(wbits=31)
        try:
            data = unpacker.decompress(data, MOST_BYTES + 1)
        except zlib.error:
            raise Unfit("packed data that are broken") from None
    if len(data) > MOST_BYTES:
        raise Unfit(f"more than {MOST_BYTES >> 20} MB of text")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise Unfit("text that is not UTF-8") from None


def look_through(text: str) -> None:
    """Refuse a drawing with scripts, references to outside, or more than can be drawn.

    Raises
    ------
    Unfit
        What was found.
    """
    depth = count = 0

    def start(name: str, attributes: dict[str, str]) -> None:
        nonlocal depth, count
        depth, count = depth + 1, count + 1
        if depth > DEEPEST:
            raise Unfit(f"groups more than {DEEPEST} deep")
        if count > MOST_ELEMENTS:
            raise Unfit(f"more than {MOST_ELEMENTS} parts")
        plain = name.rpartition(":")[2]
        if plain in _RUN:
            raise Unfit(f"one with a {plain} in it")
        if plain in _ENDLESS:
            raise Unfit(f"one with the filter {plain}")
        for key, value in attributes.items():
            if key.rpartition(":")[2] == "href" and not _is_inside(value):
                raise Unfit("one that refers to another file")

    def end(_: str) -> None:
        nonlocal depth
        depth -= 1

    parser = expat.ParserCreate()
    parser.StartElementHandler, parser.EndElementHandler = start, end
    try:
        parser.Parse(text, True)
    except expat.ExpatError as error:
        raise Unfit(f"XML that is broken: {error}") from None


def _is_inside(reference: str) -> bool:
    return (
        reference.lstrip().startswith(("#", "data:image/png", "data:image/jpeg")) or not reference
    )
