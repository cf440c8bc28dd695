"""The proof sheet as one picture: all looks of a product side by side, to choose by eye."""

from __future__ import annotations

import io
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw

from lightplan.reports.canvas import FAINT, INK, Column, blank, paste

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from lightplan.reports.palette import Colour
    from lightplan.scene import Camera, Sheet

CELL_WIDTH, MARGIN, GUTTER = 760, 48, 36
VERDICT_COLOURS: dict[str, Colour] = {
    "keep": (22, 110, 62),
    "adjust": (150, 92, 0),
    "retake": (170, 32, 48),
}
MOST_ACROSS = 3
SUBTITLE = "Every look this foil and stock can carry, what reads most as foil first"
CROP_MARGIN = 0.1
"""On each side of the sheet, as a share of its size in the picture. Our choice."""
SHAPES = (0.8, 1.0, 1.25)
"""Portrait 4:5, square, landscape 5:4: what shops and feeds show (common practice, no source)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class ProofCell:
    """One look on the sheet.

    Parameters
    ----------
    look : str
    codes : (rows, cols, 3) uint8
        The predicted picture, sRGB; all cells have one size.
    score : float or None
    verdict : str
    metal : float
        How far it reads as metal, 0 to 1.
    facts : tuple of str
        Short lines: the run, the bright end, the paper.
    needs : str
        Things, minutes.
    built : str
        How many builds come out right.
    advice : str
    rig : str
        File beside the sheet.
    picture : str
        File beside the sheet.
    """

    look: str
    codes: NDArray[np.uint8]
    score: float | None
    verdict: str
    metal: float
    facts: tuple[str, ...]
    needs: str
    built: str
    advice: str
    rig: str
    picture: str

    @property
    def headline(self) -> str:
        """What it is worth, in a line."""
        worth = "cannot be told" if self.score is None else f"{self.score:.0f} of 100"
        return f"{worth}, {self.verdict}; reads as metal {100 * self.metal:.0f} %"


def proof_png(
    cells: Sequence[ProofCell],
    *,
    title: str,
    left_out: Sequence[tuple[str, str]] = (),
    subtitle: str = SUBTITLE,
) -> bytes:
    """Return the proof sheet as the bytes of a PNG file.

    Parameters
    ----------
    cells : sequence of ProofCell
        In the order in which they are shown.
    left_out : sequence of (str, str)
        Looks without a picture, and why.
    subtitle : str
        The line under the title.
    """
    across = _across(len(cells))
    picture_height = max((_picture_height(cell) for cell in cells), default=0)
    text_height = max((_text(None, cell, 0, 0, 0) for cell in cells), default=0)
    cell_height = picture_height + 18 + math.ceil(text_height)
    width = 2 * MARGIN + across * CELL_WIDTH + (across - 1) * GUTTER
    head = _head(None, (title, subtitle), width)
    foot = _foot(None, left_out, 0.0, width)
    rows = math.ceil(len(cells) / across)
    height = math.ceil(head + rows * (cell_height + GUTTER) + foot + MARGIN)
    page = blank(width, height)
    draw = ImageDraw.Draw(page)
    _head(draw, (title, subtitle), width)
    for number, cell in enumerate(cells):
        left = MARGIN + number % across * (CELL_WIDTH + GUTTER)
        top = math.ceil(head) + number // across * (cell_height + GUTTER)
        _picture(page, cell, left, top, picture_height)
        _text(draw, cell, left, top + picture_height + 18, number + 1)
    _foot(draw, left_out, head + rows * (cell_height + GUTTER), width)
    file = io.BytesIO()
    page.save(file, "PNG", optimize=True)
    return file.getvalue()


def cropped(
    codes: NDArray[np.uint8], camera: Camera, sheet: Sheet, *, shape: float
) -> NDArray[np.uint8]:
    """Return the part of a picture round its sheet, for pictures that shall stand side by side.

    Parameters
    ----------
    codes : (rows, cols, 3) uint8
    shape : float
        Width over height of the part; it is given up where the picture ends.
    """
    rows, cols = codes.shape[:2]
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
    places = camera.project(np.column_stack([corners, np.zeros(4)]), rows, cols)
    if not np.isfinite(places).all():
        return codes
    low, high = places.min(axis=0), places.max(axis=0)
    tall, wide = (high - low) * (1 + 2 * CROP_MARGIN)
    wide = max(wide, shape * tall)
    size = np.minimum([wide / shape, wide], [rows, cols])
    first = np.clip((low + high) / 2 - size / 2, 0, np.array([rows, cols]) - size)
    top, left = (int(v) for v in np.floor(first))
    bottom, right = (int(v) for v in np.ceil(first + size))
    return codes[top:bottom, left:right]


def crop_shape(sheet: Sheet) -> float:
    """Return the shape that suits a sheet, width over height, of those that shops show.

    >>> from lightplan.scene import Sheet
    >>> crop_shape(Sheet(width_mm=90, height_mm=160)), crop_shape(Sheet(width_mm=85, height_mm=55))
    (0.8, 1.25)
    """
    wanted = sheet.width_mm / (0.85 * sheet.height_mm)  # a leaning view draws it shorter
    return min(SHAPES, key=lambda shape: abs(np.log(shape / wanted)))


def _across(count: int) -> int:
    if count <= 1:
        return 1
    return 2 if count in (2, 4) else MOST_ACROSS


def _picture_height(cell: ProofCell) -> int:
    rows, cols = cell.codes.shape[:2]
    return math.ceil(CELL_WIDTH * min(float(rows / cols), 1.25))


def _picture(page: Image.Image, cell: ProofCell, left: int, top: int, height: int) -> None:
    """Lay the picture into its place, whole, as large as fits."""
    rows, cols = cell.codes.shape[:2]
    scale = min(CELL_WIDTH / cols, height / rows)
    size = (max(1, round(cols * scale)), max(1, round(rows * scale)))
    small = Image.fromarray(cell.codes).resize(size, Image.Resampling.LANCZOS)
    at = (left + (CELL_WIDTH - size[0]) // 2, top + (height - size[1]) // 2)
    paste(page, np.asarray(small, np.uint8), at)


def _head(draw: ImageDraw.ImageDraw | None, titles: tuple[str, str], width: int) -> float:
    column = Column(draw, MARGIN, MARGIN - 8, width - 2 * MARGIN)
    column.text(titles[0], 34, bold=True)
    column.text(titles[1], 21, colour=FAINT)
    column.gap(18)
    return column.top


def _text(
    draw: ImageDraw.ImageDraw | None, cell: ProofCell, left: float, top: float, number: int
) -> float:
    """Write what belongs to a picture; return the height it takes."""
    column = Column(draw, left, top, CELL_WIDTH)
    column.text(f"{number}  {cell.look[:1].upper()}{cell.look[1:]}", 27, bold=True)
    colour = VERDICT_COLOURS.get(cell.verdict, INK)
    column.text(cell.headline, 21, bold=True, colour=colour)
    for line in (cell.needs, cell.built, *cell.facts):
        column.text(line, 19)
    column.text(cell.advice, 19, colour=FAINT)
    return column.top - top


def _foot(
    draw: ImageDraw.ImageDraw | None, left_out: Sequence[tuple[str, str]], top: float, width: int
) -> float:
    column = Column(draw, MARGIN, top, width - 2 * MARGIN)
    for look, reason in left_out:
        column.text(f"{look[:1].upper()}{look[1:]}: not here, {reason}.", 19, colour=FAINT)
    return column.top - top
