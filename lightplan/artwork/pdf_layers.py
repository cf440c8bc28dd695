"""The named layers of a PDF, each as the share of every pixel that its shapes cover."""

from __future__ import annotations

import ctypes
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

MOST_LAYERS = 12
_ROOM = 512


def layers_of(content: bytes, long_side: int) -> dict[str, NDArray[np.float32]]:
    """Return the layers of a PDF's first page by name, in the order in which they are drawn.

    Layers are told as drawing programs write them: content marked as optional (ISO 32000-1,
    8.11). A page without them gives none.

    Parameters
    ----------
    content : bytes
    long_side : int
        Pixels along the longer side.
    """
    import pypdfium2

    page = pypdfium2.PdfDocument(content)[0]
    names = list(dict.fromkeys(name for name in _names(page) if name))[:MOST_LAYERS]
    return {name: _cover(content, name, long_side) for name in names}


def _names(page: Any) -> list[str | None]:
    """Return the layer of each object of a page; None where it is in none."""
    import pypdfium2.raw as raw

    count = raw.FPDFPage_CountObjects(page.raw)
    return [_layer(raw.FPDFPage_GetObject(page.raw, number)) for number in range(count)]


def _layer(thing: Any) -> str | None:
    import pypdfium2.raw as raw

    for number in range(raw.FPDFPageObj_CountMarks(thing)):
        mark = raw.FPDFPageObj_GetMark(thing, number)
        if _told(raw.FPDFPageObjMark_GetName, mark) == "OC":
            return _told(raw.FPDFPageObjMark_GetParamStringValue, mark, b"Name")
    return None


def _told(ask: Any, *of: Any) -> str | None:
    """Return a text that PDFium writes into room that it is given."""
    room, length = (ctypes.c_ushort * _ROOM)(), ctypes.c_ulong()
    if not ask(*of, room, 2 * _ROOM, ctypes.byref(length)):
        return None
    return bytes(room)[: length.value].decode("utf-16-le", "replace").rstrip("\0")


def _cover(content: bytes, name: str, long_side: int) -> NDArray[np.float32]:
    """Return what one layer covers: drawn on white and on black, it differs where it is not."""
    import pypdfium2
    import pypdfium2.raw as raw

    page = pypdfium2.PdfDocument(content)[0]
    for number, of in reversed(list(enumerate(_names(page)))):
        if of != name:
            raw.FPDFPage_RemoveObject(page.raw, raw.FPDFPage_GetObject(page.raw, number))
    scale = min(long_side / max(page.get_size()), 20.0)
    on_white, on_black = (
        np.asarray(page.render(scale=scale, fill_color=fill).to_pil().convert("RGB"), np.float32)
        for fill in ((255, 255, 255, 255), (0, 0, 0, 255))
    )
    return np.asarray(1 - (on_white - on_black).mean(axis=2) / 255, np.float32)
