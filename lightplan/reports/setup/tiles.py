"""How a piece is spread over sheets of paper."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from lightplan.reports.print.page import paper_size

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Integers
    from lightplan.reports.setup.cuts import Cut

SIDE_MM = 12.0  # of each page that is not drawn on, left and right
HEAD_MM = 20.0
FOOT_MM = 24.0
OVERLAP_MM = 10.0
RING_STEPS = 180
STEP_MM = 2.0  # between the points at which a line is looked for on a page


@dataclass(frozen=True)
class Tile:
    """One page of a piece: its column and row, and the lower left corner of what it shows (mm)."""

    column: int
    row: int
    left: float
    bottom: float

    @property
    def name(self) -> str:
        """Column as a letter, row as a number, from the lower left."""
        letters, rest = "", self.column
        while rest >= 0:
            letters = chr(ord("A") + rest % 26) + letters
            rest = rest // 26 - 1
        return f"{letters}{self.row + 1}"


@dataclass(frozen=True, eq=False)
class Tiling:
    """The pages of one piece.

    Parameters
    ----------
    cut : Cut
    width, height : float
        What each page shows. [mm]
    columns, rows : int
    start_mm : (float, float)
        Lower left corner of the first page, from the piece's own.
    tiles : tuple of Tile
        Those that are printed.
    """

    cut: Cut
    width: float
    height: float
    columns: int
    rows: int
    start_mm: tuple[float, float]
    tiles: tuple[Tile, ...]


def tiling(cut: Cut, paper: str) -> Tiling:
    """Return the pages of one piece, centred, leaving out those with nothing to cut."""
    wide, high = paper_size(paper)
    width, height = wide - 2 * SIDE_MM, high - HEAD_MM - FOOT_MM
    columns, rows = (
        max(1, math.ceil((size - OVERLAP_MM) / (room - OVERLAP_MM) - 1e-9))
        for size, room in ((cut.width_mm, width), (cut.height_mm, height))
    )
    step = (width - OVERLAP_MM, height - OVERLAP_MM)
    x, y, diameter = (0.0, 0.0, 0.0) if cut.hole is None else cut.hole
    clear = diameter / 2 + OVERLAP_MM / 2 if diameter else 0.0
    left = _start(cut.width_mm, columns, step[0], x, clear)
    bottom = _start(cut.height_mm, rows, step[1], y, clear)
    points = _samples(cut_lines(cut))
    touched: set[tuple[int, int]] = set()
    for column, in_column in _touched(points[:, 0], left, step[0], width):
        for row, in_row in _touched(points[:, 1], bottom, step[1], height):
            both = in_column & in_row
            touched.update(zip(column[both].tolist(), row[both].tolist(), strict=True))
    tiles = tuple(
        Tile(c, r, left + c * step[0], bottom + r * step[1])
        for r in reversed(range(rows))
        for c in range(columns)
        if (c, r) in touched
    )
    return Tiling(cut, width, height, columns, rows, (left, bottom), tiles)


def _start(size: float, count: int, step: float, hole: float, clear: float) -> float:
    """Return where the first page begins on the piece: centred, unless a joint meets the hole."""
    slack = count * step + OVERLAP_MM - size
    starts = [-slack * share for share in (0.5, 0.4, 0.6, 0.25, 0.75, 0.1, 0.9)]
    for start in starts:
        joints = [start + i * step + OVERLAP_MM / 2 for i in range(1, count)]
        if all(abs(joint - hole) >= clear for joint in joints):
            return start
    return starts[0]


def cut_lines(cut: Cut) -> list[Doubles]:
    """Return everything drawn on a piece as lines (n, 2): rim, hole, lines that lead to it."""
    found = [np.concatenate([cut.outline_mm, cut.outline_mm[:1]])]
    if cut.hole is not None:
        x, y, diameter = cut.hole
        turn = 2 * np.pi * np.arange(RING_STEPS + 1) / RING_STEPS
        ring = diameter / 2 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
        found += [
            ring + np.array([x, y]),
            np.array([[0.0, y], [x, y]]),
            np.array([[x, 0.0], [x, y]]),
        ]
    return found


def _samples(lines: Sequence[Doubles]) -> Doubles:
    """Return points along lines, (n, 2), at most `STEP_MM` apart."""
    found = []
    for line in lines:
        for start, end in pairwise(line):
            count = max(2, math.ceil(float(np.hypot(*(end - start))) / STEP_MM) + 1)
            found.append(start + np.linspace(0, 1, count)[:, None] * (end - start))
    return np.concatenate(found)


def _touched(
    places: Doubles, start: float, step: float, shown: float
) -> list[tuple[Integers, Booleans]]:
    """Return, for the one or two pages along one axis that may show places, which do."""
    last = np.floor((places - start) / step).astype(int)
    found = []
    for index in (last, last - 1):
        inside = places - start - index * step
        found.append((index, (inside >= 0) & (inside <= shown)))
    return found
