"""Grids on the sheet: coarse ones where light is worked out, fine ones it is shown on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.compiled import mixing
from lightplan.scene import relief

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats, Integers, Singles
    from lightplan.scene.sheet import Sheet

STEPS_PER_WAVE = 5  # so the shortest of a stock's waves, 0.6 of the usual one, have three
LEAST_SIDE = 4
"""Fewest pixels across a picture of a sheet: a ribbon, too, has cells to be measured."""


@dataclass(frozen=True, eq=False)
class Lattice:
    """A regular grid over the sheet, edges included; row 0 is the far edge (+y)."""

    x_mm: Doubles
    y_mm: Doubles

    @classmethod
    def over(cls, sheet: Sheet, long_side: int, least: int = 5) -> Lattice:
        """Return a grid with `long_side` points along the longer side."""
        longer = max(sheet.width_mm, sheet.height_mm)
        cols = max(least, 1 + round((long_side - 1) * sheet.width_mm / longer))
        rows = max(least, 1 + round((long_side - 1) * sheet.height_mm / longer))
        x = np.linspace(-sheet.width_mm / 2, sheet.width_mm / 2, cols)
        return cls(x, np.linspace(sheet.height_mm / 2, -sheet.height_mm / 2, rows))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return len(self.y_mm), len(self.x_mm)

    def points(self, sheet: Sheet) -> tuple[Doubles, Doubles]:
        """Return points and normals of the sheet's face, (rows * cols, 3) each."""
        x, y = (v.ravel() for v in np.meshgrid(self.x_mm, self.y_mm))
        spots = np.stack([x, y, relief.height(sheet, x, y)], axis=1)
        return spots, relief.normals(sheet, x, y)

    def resolves(self, wave_mm: float) -> bool:
        """Whether waves of that length have `STEPS_PER_WAVE` points or more."""
        step = max(self.x_mm[1] - self.x_mm[0], self.y_mm[0] - self.y_mm[1])
        return bool(step * STEPS_PER_WAVE <= wave_mm * (1 + 1e-9))

    def spread_to(self, other: Lattice, values: Floats) -> Singles:
        """Interpolate (rows * cols, ...) values smoothly to another grid, (rows, cols, ...)."""
        first_down, down, first_across, across = _spread_weights(self, other)
        known = np.ascontiguousarray(values, np.float32).reshape(*self.shape, -1)
        rows, cols = other.shape
        full = np.empty((rows, cols * known.shape[2]), np.float32)
        room = np.empty((len(known), full.shape[1]), np.float32)
        mixing.spread(known, first_down, down, first_across, across, room, full)
        return full.reshape(*other.shape, *values.shape[1:])


@lru_cache(maxsize=64)
def _spread_weights(one: Lattice, other: Lattice) -> tuple[Integers, Singles, Integers, Singles]:
    """Weights down and across; grids are told apart by identity."""
    return *_weights(-one.y_mm, -other.y_mm), *_weights(one.x_mm, other.x_mm)


def _weights(known: Doubles, wanted: Doubles) -> tuple[Integers, Singles]:
    """Catmull-Rom weights (wanted, taps), after the first known point that each wanted one reads.

    Ends are extended along their slope.
    """
    step = known[1] - known[0]
    place = np.clip((wanted - known[0]) / step, 0.0, len(known) - 1.0)
    low = np.minimum(np.floor(place).astype(int), len(known) - 2)
    t = place - low
    cubic = np.stack(
        [
            -0.5 * t + t**2 - 0.5 * t**3, 1 - 2.5 * t**2 + 1.5 * t**3,
            0.5 * t + 2 * t**2 - 1.5 * t**3, -0.5 * t**2 + 0.5 * t**3,
        ]
    )  # fmt: skip
    weights = np.zeros((len(wanted), len(known) + 2))
    for offset in range(4):
        np.add.at(weights, (np.arange(len(wanted)), low + offset), cubic[offset])
    inner = weights[:, 1:-1].copy()
    inner[:, 0] += 2 * weights[:, 0]
    inner[:, 1] -= weights[:, 0]
    inner[:, -1] += 2 * weights[:, -1]
    inner[:, -2] -= weights[:, -1]
    taps = min(4, len(known))
    first = np.clip(low - 1, 0, len(known) - taps)
    found = np.take_along_axis(inner, first[:, None] + np.arange(taps), axis=1)
    return first, np.ascontiguousarray(found, np.float32)


@dataclass(frozen=True, eq=False)
class Readings:
    """Where n places lie between the points of a grid.

    Parameters
    ----------
    first : (n,) int
        The grid's point above and left of each.
    over, down : (n,) float32
        How far it lies towards the next ones, 0 to 1.
    cols : int
        Points in a row of the grid.
    """

    first: Integers
    over: Singles
    down: Singles
    cols: int

    @classmethod
    def of(cls, lattice: Lattice, points: Doubles) -> Readings:
        """Return how to read a grid at points (n, 2) of the sheet, x and y in mm."""
        rows, cols = lattice.shape
        col = (points[:, 0] - lattice.x_mm[0]) / (lattice.x_mm[-1] - lattice.x_mm[0]) * (cols - 1)
        row = (lattice.y_mm[0] - points[:, 1]) / (lattice.y_mm[0] - lattice.y_mm[-1]) * (rows - 1)
        col, row = np.clip(col, 0, cols - 1), np.clip(row, 0, rows - 1)
        left = np.minimum(col.astype(np.int64), cols - 2)
        top = np.minimum(row.astype(np.int64), rows - 2)
        over, down = (v.astype(np.float32) for v in (col - left, row - top))
        return cls(top * cols + left, over, down, cols)

    def read(self, layer: Singles) -> Singles:
        """Return the values (n, 3) of a layer (rows, cols, 3), bilinear."""
        values = np.empty((len(self.first), 3), np.float32)
        flat = np.ascontiguousarray(layer, np.float32).reshape(-1, 3)
        mixing.read_grid(flat, self.first, self.cols, self.over, self.down, values)
        return values

    def mix(
        self, paper: Singles, foil: Singles, share: Singles, pixels: Integers, picture: Singles
    ) -> None:
        """Write foil over paper, by its share (p,), to some pixels of a picture (p, 3)."""
        paper, foil = (
            np.ascontiguousarray(layer, np.float32).reshape(-1, 3) for layer in (paper, foil)
        )
        mixing.mix(paper, foil, share, self.first, self.cols, self.over, self.down, pixels, picture)
