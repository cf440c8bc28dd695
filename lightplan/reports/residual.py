"""The squared photograph, the rig as built as predicted, and what is left between them."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports.canvas import FAINT, Column, badge, blank, paste
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


def residual_png(
    photograph: Singles,
    expected: Singles,
    foil: Singles,
    width_mm: float,
    height_mm: float,
    marks: Sequence[ForeignMark] = (),
) -> bytes:
    """Return the three pictures side by side as the bytes of a PNG file.

    Parameters
    ----------
    photograph, expected : (rows, cols, 3) float
        Linear levels of the squared sheet, 1 = clip level.
    foil : (rows, cols) float
        Share of foil; the artwork's edges are left out of the difference.
    """
    gap = np.log2(_luminance(photograph) + _FLOOR) - np.log2(_luminance(expected) + _FLOOR)
    edge = (foil > 0.05) & (foil < 0.95)
    parts = [picture_codes(photograph), picture_codes(expected), _coloured(gap, edge)]
    heads = ["Your photograph, squared", "The rig as it was found", "What is left"]
    notes = [
        "",
        "",
        f"red: brighter than found, blue: darker; full colour is {RANGE_STOPS:.0f} "
        "stops (four times)",
    ]
    pictures = [_scaled(p, width_mm, height_mm) for p in parts]
    wide, high = pictures[0].shape[1], pictures[0].shape[0]
    column = max(wide, 300)
    tops = [_head(None, MARGIN_PX, column, h, n) for h, n in zip(heads, notes, strict=True)]
    top = round(max(tops))
    page = blank(3 * column + 4 * MARGIN_PX, top + high + MARGIN_PX)
    draw = ImageDraw.Draw(page)
    for i, (picture, head, note) in enumerate(zip(pictures, heads, notes, strict=True)):
        left = MARGIN_PX + i * (column + MARGIN_PX)
        _head(draw, left, column, head, note)
        paste(page, picture, (left, top))
        for mark in marks if i != 1 else ():
            x = left + (mark.where_mm[0] / width_mm + 0.5) * wide
            y = top + (0.5 - mark.where_mm[1] / height_mm) * high
            badge(draw, (x, y), "!", 14, (196, 62, 28))
    file = io.BytesIO()
    page.save(file, "PNG", compress_level=6)
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
