"""Two pictures side by side: the photograph, and what is expected after a move."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports.canvas import FAINT, QUICKLY, Column, blank, paste

if TYPE_CHECKING:
    from numpy.typing import NDArray

HEIGHT_PX = 620
MARGIN_PX = 28
TITLE_PX, HEAD_PX, NOTE_PX = 24, 20, 20


@dataclass(frozen=True, eq=False)
class PictureSide:
    """One picture with its heading and score.

    Parameters
    ----------
    codes : (rows, cols, 3) uint8
        sRGB.
    heading : str
    score : str or None
    """

    codes: NDArray[np.uint8]
    heading: str
    score: str | None


def before_after_png(before: PictureSide, after: PictureSide, *, title: str) -> bytes:
    """Return both pictures at one height, with their headings, as the bytes of a PNG file."""
    pictures = [_scaled(side.codes) for side in (before, after)]
    widths = [picture.shape[1] for picture in pictures]
    whole = sum(widths) + 3 * MARGIN_PX
    top = _heads(None, before, after, widths, whole, title)
    page = blank(whole, round(top) + HEIGHT_PX + MARGIN_PX)
    _heads(ImageDraw.Draw(page), before, after, widths, whole, title)
    left = MARGIN_PX
    for picture, width in zip(pictures, widths, strict=True):
        paste(page, picture, (left, round(top)))
        left += width + MARGIN_PX
    file = io.BytesIO()
    page.save(file, "PNG", compress_level=QUICKLY)
    return file.getvalue()


def _scaled(codes: NDArray[np.uint8]) -> NDArray[np.uint8]:
    scale = HEIGHT_PX / codes.shape[0]
    size = (max(80, round(codes.shape[1] * scale)), HEIGHT_PX)
    return np.asarray(Image.fromarray(codes).resize(size, Image.Resampling.LANCZOS))


def _heads(
    draw: ImageDraw.ImageDraw | None,
    before: PictureSide,
    after: PictureSide,
    widths: list[int],
    whole: int,
    title: str,
) -> float:
    """Write title and headings; return where the pictures begin."""
    column = Column(draw, MARGIN_PX, MARGIN_PX, whole - 2 * MARGIN_PX)
    column.text(title, TITLE_PX)
    column.gap(14)
    left, lowest = float(MARGIN_PX), column.top
    for side, width in zip((before, after), widths, strict=True):
        part = Column(draw, left, column.top, width)
        part.text(side.heading, HEAD_PX, bold=True)
        if side.score is not None:
            part.text(side.score, NOTE_PX, colour=FAINT)
        lowest = max(lowest, part.top)
        left += width + MARGIN_PX
    return lowest + 10
