"""The squared photograph, the rig as built as predicted, and what is left between them."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports.canvas import FAINT, QUICKLY, Column, badge, blank, paste
from lightplan.reports.picture import picture_codes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lightplan.arrays import Singles

PICTURE_PX = 520
MARGIN_PX = 26
RANGE_STOPS = 2.0
_FLOOR = 2.0**-8
_MORE, _LESS = np.array([196, 62, 28]), np.array([28, 88, 190])


@dataclass(frozen=True)
class ForeignMark:
    """A place on the sheet, x and y in mm, and what is seen there."""

    where_mm: tuple[float, float]
    words: str


def _left(photograph: Singles, expected: Singles, foil: Singles) -> NDArray[np.uint8]:
    """Return what is left of a photograph once the expected picture is taken away, in colour."""
    gap = np.log2(_luminance(photograph) + _FLOOR) - np.log2(_luminance(expected) + _FLOOR)
    return _coloured(gap, (foil > 0.05) & (foil < 0.95))


def residual_png(
    photograph: Singles,
    expected: Singles,
    foil: Singles,
    width_mm: float,
    height_mm: float,
    marks: Sequence[ForeignMark] = (),
    from_above: NDArray[np.uint8] | None = None,
) -> bytes:
    """Return the three pictures side by side as the bytes of a PNG file.

    Parameters
    ----------
    photograph, expected : (rows, cols, 3) float
        Linear levels of the squared sheet, 1 = clip level.
    foil : (rows, cols) float
        Share of foil; the artwork's edges are left out of the difference.
    from_above : (rows, cols, 3) uint8 or None
        The set from above with light that is not in the rig, drawn beside them.
    """
    parts = [picture_codes(photograph), picture_codes(expected), _left(photograph, expected, foil)]
    heads = ["Your photograph, squared", "The rig as it was found", "What is left"]
    notes = [
        "",
        "",
        f"red: brighter than found, blue: darker; full colour is {RANGE_STOPS:.0f} "
        "stops (four times)",
    ]
    pictures = [_scaled(p, width_mm, height_mm) for p in parts]
    wide = pictures[0].shape[1]
    columns = [max(wide, 300)] * 3
    if from_above is not None:
        pictures.append(from_above)
        heads.append("From above")
        notes.append("light that is not in the plan: its direction is known to about 15 degrees")
        columns.append(from_above.shape[1])
    high = max(p.shape[0] for p in pictures)
    told = list(zip(columns, heads, notes, strict=True))
    tops = [_head(None, MARGIN_PX, *one) for one in told]
    top = round(max(tops))
    page = blank(sum(columns) + (len(columns) + 1) * MARGIN_PX, top + high + MARGIN_PX)
    draw = ImageDraw.Draw(page)
    left = 0
    for i, (picture, one) in enumerate(zip(pictures, told, strict=True)):
        left += MARGIN_PX + (columns[i - 1] if i else 0)
        _head(draw, left, *one)
        paste(page, picture, (left, top))
        for mark in marks if i in (0, 2) else ():
            x = left + (mark.where_mm[0] / width_mm + 0.5) * wide
            y = top + (0.5 - mark.where_mm[1] / height_mm) * picture.shape[0]
            badge(draw, (x, y), "!", 14, (196, 62, 28))
    file = io.BytesIO()
    page.save(file, "PNG", compress_level=QUICKLY)
    return file.getvalue()


def _luminance(linear: Singles) -> Singles:
    return np.asarray(np.minimum(linear, 1.0) @ np.array([0.2126, 0.7152, 0.0722], np.float32))


def _coloured(gap: Singles, edge: NDArray[np.bool_]) -> NDArray[np.uint8]:
    share = np.clip(gap / RANGE_STOPS, -1, 1)[..., None]
    colour = np.where(share > 0, _MORE, _LESS)
    codes = 255 + np.abs(share) * (colour - 255)
    codes[edge] = 232
    return np.asarray(np.rint(codes), np.uint8)


def _scaled(codes: NDArray[np.uint8], width_mm: float, height_mm: float) -> NDArray[np.uint8]:
    scale = PICTURE_PX / max(width_mm, height_mm)
    size = (max(40, round(width_mm * scale)), max(40, round(height_mm * scale)))
    return np.asarray(Image.fromarray(codes).resize(size, Image.Resampling.LANCZOS))


def _head(
    draw: ImageDraw.ImageDraw | None, left: float, width: float, head: str, note: str
) -> float:
    column = Column(draw, left, MARGIN_PX, width)
    column.text(head, 19, bold=True)
    if note:
        column.text(note, 15, colour=FAINT)
    return column.top + 10
