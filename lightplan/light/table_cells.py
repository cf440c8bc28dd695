"""The table's cells: small near the sheet, and ending where sheet and cards stand.

A cell half of which lies behind a card that stands on the table would be taken as half lit
all over; light would leak. So its rulings are moved to the feet of what stands there.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.cone import Cone
from lightplan.geometry.shapes import Flat

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.scene.surfaces import Surface

LOW = 0.25  # of the sheet's longer side: what reaches lower than this stands on the table
SQUARE = 0.05  # rise of a foot's line on the table, beyond which it is not along a ruling
ROUND_FOOT = (1.0, 0.5**0.5)  # of a cone's radius: rulings that follow its foot in steps
# Cells in the middle are this over its sinh of the even size, a half, those at the rim twice it.
# Smaller ones leave so few for the rest that a low lamp's pool of light on it was taken for even.
CROWDING = 2.0


def ruled(surfaces: Sequence[Surface], side: int, thin: int = 0) -> tuple[Surface, ...]:
    """Return the surfaces with the table ruled into about 1.5 `side` cells a side.

    At least 1.5 `thin` where a cone stands on it: straight rulings follow a round foot badly.
    """
    low_mm = _low_mm(surfaces)
    side = max(side, thin) if any(_is_round_foot(s, low_mm) for s in surfaces) else side
    return tuple(
        replace(s, shape=_rule(s.shape, surfaces, side))
        if s.role == "table" and isinstance(s.shape, Flat)
        else s
        for s in surfaces
    )


def _rule(table: Flat, surfaces: Sequence[Surface], side: int) -> Flat:
    ratio = table.half_width / table.half_height
    cols = round(1.5 * side * min(2.0, max(0.5, ratio**0.5)))
    rows = round(1.5 * side * min(2.0, max(0.5, ratio**-0.5)))
    cuts_x, cuts_y = _feet(surfaces)
    x = _lines(cols, [c / table.half_width for c in cuts_x])
    y = _lines(rows, [c / table.half_height for c in cuts_y])
    return replace(table, lines=(x, y))


def _lines(count: int, cuts: Sequence[float]) -> tuple[float, ...]:
    """Crowded rulings -1..1, the nearest one moved to each cut; cuts too many are left out."""
    even = np.linspace(-1, 1, count + 1)
    lines = np.sinh(CROWDING * even) / math.sinh(CROWDING)
    free = np.ones(len(lines), bool)
    free[[0, -1]] = False
    for cut in dict.fromkeys(round(c, 6) for c in cuts):
        if not -0.999 < cut < 0.999 or not free.any():
            continue
        index = int(np.argmin(np.where(free, np.abs(lines - cut), np.inf)))
        low, high = lines[index - 1], lines[index + 1]
        if low < cut < high:
            lines[index], free[index] = cut, False
    return tuple(float(v) for v in lines)


def _feet(surfaces: Sequence[Surface]) -> tuple[list[float], list[float]]:
    """Where the sheet ends and upright things stand: x and y of lines across the table."""
    cuts_x: list[float] = []
    cuts_y: list[float] = []
    low_mm = _low_mm(surfaces)
    for surface in surfaces:
        if _is_round_foot(surface, low_mm) and isinstance(surface.shape, Cone):
            x, y, _ = surface.shape.centre
            reach = [w * surface.shape.foot_radius * f for f in ROUND_FOOT for w in (-1, 1)]
            cuts_x += [x + r for r in reach]
            cuts_y += [y + r for r in reach]
        if surface.role in ("table", "room", "camera") or not isinstance(surface.shape, Flat):
            continue
        for (x0, y0), (x1, y1) in _low_edges(surface.shape, low_mm):
            if abs(x1 - x0) <= SQUARE * abs(y1 - y0):
                cuts_x.append((x0 + x1) / 2)
            if abs(y1 - y0) <= SQUARE * abs(x1 - x0):
                cuts_y.append((y0 + y1) / 2)
    return cuts_x, cuts_y


def _low_mm(surfaces: Sequence[Surface]) -> float:
    sheet = surfaces[0].shape
    assert isinstance(sheet, Flat)
    return 2 * LOW * max(sheet.half_width, sheet.half_height)


def _is_round_foot(surface: Surface, low_mm: float) -> bool:
    shape = surface.shape
    return surface.role == "shell" and isinstance(shape, Cone) and shape.centre[2] < low_mm


def _low_edges(
    shape: Flat, low_mm: float
) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    corners = shape.outline(4) if shape.is_round else shape.outline()
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if max(a[2], b[2]) < low_mm:
            yield (float(a[0]), float(a[1])), (float(b[0]), float(b[1]))
