"""Light that goes to and fro between matte surfaces, all bounces, as one linear system.

    G = F L + S,   L = diffuse G + passes G(other side)

L is the luminance of each cell, F the view factors between cells with what hides them, S
the light that comes straight from lamps, the surroundings and metal coatings. Solved by
repeated substitution, which converges because nothing gives more than it gets.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Floats, Integers, Singles
from lightplan.geometry.shapes import Cells
from lightplan.light import kernels
from lightplan.light.cells import Patchwork
from lightplan.light.visibility import Visibility, among
from lightplan.scene.surfaces import Surface

CLOSE_ENOUGH = 2e-5
MOST_ROUNDS = 2000


class ViewFactors:
    """View factors from n points to the cells of a patchwork, with occlusion.

    The points may be the cells themselves; a moved surface renews its own rows, columns
    and shadow only.
    """

    def __init__(self, skip: frozenset[tuple[int, int]]) -> None:
        self._sight = Visibility(skip=skip)
        self._kernel: Singles | None = None

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, changed: frozenset[int],
        points: Floats, normals: Floats, owners: Integers, *, of_cells: bool,
    ) -> Singles:  # fmt: skip
        """Return (n, c) view factors; `of_cells` averages near ones over four points of each."""
        cells = patchwork.geometry
        free = self._sight.update(
            surfaces, changed, points, owners, cells.centres, patchwork.owners
        )
        spread = patchwork.sub_points() if of_cells else None
        if self._kernel is None:
            self._kernel = kernels.transfer(points, normals, cells, spread=spread)
        else:
            rows = np.flatnonzero(among(owners, changed))
            cols = np.flatnonzero(among(patchwork.owners, changed))
            if rows.size:
                part = None if spread is None else spread[rows]
                self._kernel[rows] = kernels.transfer(
                    points[rows], normals[rows], cells, spread=part
                )
            if cols.size:
                some = Cells(*(values[cols] for values in cells))
                self._kernel[:, cols] = kernels.transfer(points, normals, some, spread=spread)
        factors: Singles = self._kernel * free
        return _at_most_one(factors)


def _at_most_one(factors: Singles) -> Singles:
    """Keep energy: no point sees more than its whole hemisphere."""
    total = factors.sum(axis=1)
    excess = total > 1.0
    if excess.any():
        factors[excess] /= total[excess, None]
    return factors


def settle(
    factors: Singles, source: Floats, diffuse: Floats, passes: Floats, opposite: Integers
) -> tuple[Singles, Singles]:
    """Solve the system.

    Parameters
    ----------
    factors : (c, c) float
    source : (c, 3) float
        Light on each cell that does not come from other cells, as luminance of white.
    diffuse, passes : (c, 3) float
    opposite : (c,) int

    Returns
    -------
    luminance, received : (c, 3) float32
        L and G.
    """
    source = np.ascontiguousarray(source, np.float32)
    given = _give(source, diffuse, passes, opposite)
    scale = float(np.abs(given).max(initial=0.0))
    total = given.copy()
    received = source.copy()
    if scale == 0.0 or not len(factors):
        return total, received
    step = given
    for _ in range(MOST_ROUNDS):
        arriving = factors @ step
        received += arriving
        before = float(np.abs(step).max())
        step = _give(arriving, diffuse, passes, opposite)
        total += step
        size = float(np.abs(step).max())
        ratio = min(size / max(before, 1e-30), 0.9999)
        if size * ratio / (1 - ratio) < CLOSE_ENOUGH * scale:
            break
    return total, received


def _give(received: Singles, diffuse: Floats, passes: Floats, opposite: Integers) -> Singles:
    return np.asarray(diffuse * received + passes * received[opposite], np.float32)

