"""The stamped edge on a coarse grid over the sheet: how much of it, and what it adds.

What a pixel of the grid shows of the flanks is a weighted sum of the flanks' luminances at
the few places and facings at which they are worked out (`Rim`). The weights hang on the
artwork alone, so they are kept: a search asks for thousands of lights on one sheet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.light.rim import outline_of

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
    weights : (rows * cols, facings * rim rows * rim cols) sparse float32
        Share of each pixel that shows each of the flanks of a `Rim`.
    """

    flank: Singles
    weights: Any

    def glow(self, rim: Rim) -> Singles:
        """Return what the flanks bring to each pixel, (rows, cols, 3), cd/m2 times share."""
        shown = self.weights @ rim.luminance.reshape(-1, 3)
        return np.asarray(shown.reshape(*self.flank.shape, 3), np.float32)

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
    from scipy import sparse  # slow to import, and only stamped foil asks for it

    found = outline_of(sheet)
    rows, cols = found.share.shape
    (_, _, wide), (_, _, high) = grids[:2]
    finer = max(1, -(-POINTS_A_PIXEL * wide // cols), -(-POINTS_A_PIXEL * high // rows))
    pixel, node, weight = [], [], []
    share = found.share[found.row, found.col]
    turn = np.mod(found.facing_rad / (2 * np.pi), 1.0) * facings
    for down, across in product((np.arange(finer) + 0.5) / finer, repeat=2):
        x = ((found.col + across) / cols - 0.5) * sheet.width_mm
        y = (0.5 - (found.row + down) / rows) * sheet.height_mm
        row, col = (np.rint(_place(v, g)).astype(int) for v, g in ((y, grids[1]), (x, grids[0])))
        at = row * wide + col
        for index, part in _corners(turn, _place(y, grids[3]), _place(x, grids[2]), grids, facings):
            pixel.append(at)
            node.append(index)
            weight.append(share * part)
    count = facings * grids[3][2] * grids[2][2]
    points = _points_in(wide, cols * finer)[None, :] * _points_in(high, rows * finer)[:, None]
    entries = (np.concatenate(weight), (np.concatenate(pixel), np.concatenate(node)))
    summed = sparse.coo_matrix(entries, shape=(high * wide, count)).tocsr()
    weights = sparse.diags(1.0 / points.ravel()) @ summed
    flank = np.asarray(weights.sum(axis=1)).reshape(high, wide).astype(np.float32)
    flank.setflags(write=False)
    return EdgeOnGrid(flank, weights.astype(np.float32))


def _place(at: Doubles, grid: tuple[float, float, int]) -> Doubles:
    """Return places on a grid, counted in its steps from its first point, none outside."""
    first, last, count = grid
    return np.clip((at - first) / (last - first) * (count - 1), 0.0, count - 1.0)


def _points_in(pixels: int, points: int) -> Doubles:
    """Return how many of evenly spread points are nearest to each of a row's pixels."""
    at = (np.arange(points) + 0.5) / points * (pixels - 1)
    return np.bincount(np.rint(at).astype(int), minlength=pixels).astype(float)


def _corners(
    turn: Doubles,
    row: Doubles,
    col: Doubles,
    grids: tuple[tuple[float, float, int], ...],
    facings: int,
) -> list[tuple[Integers, Doubles]]:
    """Return the eight flanks of a rim round each place, and the weight of each."""
    rows, cols = grids[3][2], grids[2][2]
    low = [
        np.floor(turn).astype(int),
        np.minimum(np.floor(row).astype(int), rows - 2),
        np.minimum(np.floor(col).astype(int), cols - 2),
    ]
    off = [turn - low[0], row - low[1], col - low[2]]
    corners = []
    for step in product((0, 1), repeat=3):
        part = np.ones(len(turn))
        for s, t in zip(step, off, strict=True):
            part = part * (t if s else 1 - t)
        which = (low[0] + step[0]) % facings
        corners.append(((which * rows + low[1] + step[1]) * cols + low[2] + step[2], part))
    return corners
