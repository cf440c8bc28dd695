"""The stamped edge on a coarse grid over the sheet: how much of it, and what it adds.

What a pixel of the grid shows of the flanks is a weighted sum of the flanks' luminances at
the few places and facings at which they are worked out (`Rim`). The weights hang on the
artwork alone, so they are kept: a search asks for thousands of lights on one sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.compiled import flanks
from lightplan.light.rim import outline_of, places, turns

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.light.rim import Rim
    from lightplan.scene.sheet import Sheet

POINTS_A_PIXEL = 2
"""Points of the artwork along a side of the grid's pixels, at the least."""


@dataclass(frozen=True, eq=False)
class EdgeOnGrid:
    """Where a grid's pixels show flanks.

    Attributes
    ----------
    flank : (rows, cols) float32
        Share of each pixel that is flank.
    first, node, weight : (rows * cols + 1,), (m,) and (m,)
        Share of each pixel that shows each of the flanks of a `Rim`: those of pixel i are the
        ones from `first[i]` to `first[i + 1]`.
    """

    flank: Singles
    first: Integers
    node: Integers
    weight: Singles

    def glow(self, rim: Rim) -> Singles:
        """Return what the flanks bring to each pixel, (rows, cols, 3), cd/m2 times share."""
        shown = np.ascontiguousarray(rim.luminance, np.float32).reshape(-1, 3)
        found = np.empty((*self.flank.shape, 3), np.float32)
        flanks.glow(self.first, self.node, self.weight, shown, found.reshape(-1, 3))
        return found

    def over(self, share: Singles, face: Singles, rim: Rim) -> Singles:
        """Return the mean luminance of foil, (rows, cols, 3): its face, and its edge.

        Parameters
        ----------
        share : (rows, cols) float32
            Share of foil in each pixel.
        face : (rows, cols, 3) float32
            Luminance of level foil.
        """
        some = np.maximum(share, np.float32(1e-3))[..., None]
        edge = np.minimum(self.flank, share)[..., None] / some
        scale = np.minimum(share / np.maximum(self.flank, np.float32(1e-6)), 1.0)[..., None]
        seen = (1 - edge) * face + scale * self.glow(rim) / some
        return np.asarray(np.where(share[..., None] > 1e-3, seen, face), np.float32)


def edge_on_grid(sheet: Sheet, x_mm: Doubles, y_mm: Doubles, rim: Rim) -> EdgeOnGrid:
    """Return the flanks of a sheet's artwork on a grid; kept for the next light.

    Parameters
    ----------
    x_mm, y_mm : (cols,), (rows,) float
        The grid over the whole sheet, even steps; `y_mm` falls.
    rim : Rim
        Gives places and facings; its luminance is not looked at.
    """
    grids = tuple((float(a[0]), float(a[-1]), len(a)) for a in (x_mm, y_mm, rim.x_mm, rim.y_mm))
    return _laid(sheet, grids, len(rim.luminance))


@lru_cache(maxsize=4)
def _laid(sheet: Sheet, grids: tuple[tuple[float, float, int], ...], facings: int) -> EdgeOnGrid:
    found = outline_of(sheet)
    rows, cols = found.share.shape
    x_mm, y_mm, rim_x, rim_y = (np.linspace(*grid) for grid in grids)
    wide, high = len(x_mm), len(y_mm)
    finer = max(1, -(-POINTS_A_PIXEL * wide // cols), -(-POINTS_A_PIXEL * high // rows))
    within = (np.arange(finer)[:, None] + 0.5) / finer
    x = ((found.col + within) / cols - 0.5) * sheet.width_mm
    y = (0.5 - (found.row + within) / rows) * sheet.height_mm
    down, across = (np.rint(places(v, grid)).astype(int) for v, grid in ((y, y_mm), (x, x_mm)))
    # Points of a pixel of the artwork: first down, then across, then the pixels.
    every = (finer, finer, len(found.row))
    points = _points_in(wide, cols * finer)[None, :] * _points_in(high, rows * finer)[:, None]
    first, node, weight = flanks.gathered(
        (down[:, None] * wide + across).ravel(),
        np.tile(turns(found.facing_rad, facings), finer**2),
        np.broadcast_to(places(y, rim_y)[:, None], every).ravel(),
        np.broadcast_to(places(x, rim_x), every).ravel(),
        np.tile(found.share[found.row, found.col], finer**2),
        points.ravel(),
        (facings, len(rim_y), len(rim_x)),
    )
    sums = np.concatenate([[0.0], np.cumsum(weight, dtype=float)])
    flank = np.diff(sums[first]).reshape(high, wide).astype(np.float32)
    flank.setflags(write=False)
    return EdgeOnGrid(flank, first, node, weight)


def _points_in(pixels: int, points: int) -> Doubles:
    """Return how many of evenly spread points are nearest to each of a row's pixels."""
    at = (np.arange(points) + 0.5) / points * (pixels - 1)
    return np.bincount(np.rint(at).astype(int), minlength=pixels).astype(float)
