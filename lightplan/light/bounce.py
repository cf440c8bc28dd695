"""Light that goes to and fro between matte surfaces, all bounces, as one linear system.

    G = F L + S,   L = diffuse G + passes G(other side)

L is the luminance of each cell, F the view factors between cells with what hides them, S
the light that comes straight from lamps, the surroundings and metal coatings.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Cells
from lightplan.light import kernels
from lightplan.light.compiled import weighted_sums
from lightplan.light.kept import Kept, Moves, gathered
from lightplan.light.silhouettes import Outlines, is_outlined
from lightplan.light.visibility import Visibility, among, occluders_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Floats, Integers, Singles
    from lightplan.light.cells import Patchwork
    from lightplan.light.coat import Entering
    from lightplan.scene.surfaces import Surface

CLOSE_ENOUGH = 1e-4  # of the brightest cell
MOST_ROUNDS = 2000
MOST_STEPS = 60  # of minimal residuals; a closed white tent takes about 25
MOST_FACTORISED = 900  # cells; beyond, factorising costs more than it saves
SLOW = 0.9  # light returned per bounce above which substitution takes many rounds


class ViewFactors(Kept):
    """View factors from n points to the cells of a patchwork, with occlusion.

    The points may be the cells themselves; a moved surface renews its own rows, columns
    and shadow only.

    Parameters
    ----------
    near : float
        As in `Detail`.
    whole : bool
        Whether a cell is seen or not as its middle is. Else the share of it that outlines leave
        to be seen is worked out, and light changes smoothly while things move.
    enters : callable or None
        Share of the light that the points let in, by its cosine; all of it without.
    """

    def __init__(self, near: float, *, whole: bool, enters: Entering | None = None) -> None:
        self._near, self._whole, self._enters = near, whole, enters
        self._sight = Visibility()
        self._kernel: Singles | None = None
        self._owners: Integers | None = None
        self._moves: Moves | None = None

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and cells anew."""
        self._sight.renumber(moves)
        self._moves = moves

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        changed: frozenset[int],
        points: Floats,
        normals: Floats,
        owners: Integers,
        *,
        of_cells: bool,
    ) -> Singles:
        """Return (n, c) view factors.

        `of_cells` tells that the points are the cells themselves: near factors are then
        averaged over four points of each. Other points never move.
        """
        cells = patchwork.geometry
        before = occluders_of(surfaces)
        outlined = [] if self._whole else [i for i in before if is_outlined(surfaces[i])]
        free = self._sight.update(
            surfaces,
            changed,
            points,
            owners,
            cells.centres,
            patchwork.owners,
            frozenset(before) - frozenset(outlined),
        )
        if self._moves is not None and self._kernel is not None and self._owners is not None:
            cols = self._moves.rows(self._moves.before.owners, patchwork.owners)
            rows = self._moves.rows(self._owners, owners)
            self._kernel = gathered(self._kernel, rows, cols)
        self._owners, self._moves = owners, None
        spread = patchwork.sub_points() if of_cells else None
        if self._kernel is None:
            self._kernel = self._transfer(points, normals, cells, spread)
        else:
            self._renew(patchwork, changed, points, normals, of_cells=of_cells)
        factors: Singles = self._kernel * free
        if outlined:
            blockers = np.array(outlined, np.int64)
            scene = Outlines.of(surfaces)
            scene.hide_cells(factors, blockers, points, normals, owners, cells, patchwork.owners)
        return _at_most_one(factors)

    def _renew(
        self,
        patchwork: Patchwork,
        changed: frozenset[int],
        points: Floats,
        normals: Floats,
        *,
        of_cells: bool,
    ) -> None:
        """Work out the rows and columns of moved surfaces."""
        assert self._kernel is not None
        cells = patchwork.geometry
        cols = np.flatnonzero(among(patchwork.owners, changed))
        if not cols.size:
            return
        self._kernel = self._kernel.copy()
        spread = patchwork.sub_points() if of_cells else None
        if spread is not None:
            self._kernel[cols] = self._transfer(points[cols], normals[cols], cells, spread[cols])
        some = Cells(*(values[cols] for values in cells))
        self._kernel[:, cols] = self._transfer(points, normals, some, spread)

    def _transfer(
        self, points: Floats, normals: Floats, cells: Cells, spread: Doubles | None
    ) -> Singles:
        """Return what points get of cells that nothing hides, and let in."""
        found = kernels.transfer(points, normals, cells, near=self._near, spread=spread)
        if self._enters is not None:
            way = cells.centres[None] - np.asarray(points)[:, None]
            far = np.maximum(np.linalg.norm(way, axis=2), 1e-9)  # of the sheet's own cells
            cosine = np.einsum("nmc,nc->nm", way, normals) / far
            found *= self._enters(cosine).astype(np.float32)
        return found


def _least_squares(rows: list[Doubles], count: int) -> tuple[Doubles, Doubles]:
    """Return weights (count, c) of what was tried that come nearest to 1 at first and 0 after.

    And the distance left, (c,). `rows` are the columns of the Hessenberg matrix of each of c.
    """
    matrix = np.stack(rows, axis=1)[: count + 1].transpose(2, 0, 1)
    wanted = np.zeros((len(matrix), count + 1))
    wanted[:, 0] = 1.0
    found = np.matmul(np.linalg.pinv(matrix), wanted[..., None])
    left = wanted - np.matmul(matrix, found)[..., 0]
    return found[..., 0].T, np.sqrt(np.sum(left * left, axis=1))


def times(factors: Singles, values: Singles) -> Singles:
    """Return what n points get, (n, k, 3), from the luminances (c, k, 3) of c cells."""
    received = np.empty((len(factors), *values.shape[1:]), np.float32)
    each = np.ascontiguousarray(np.asarray(values, np.float32).transpose(1, 2, 0))
    weighted_sums.by_channel(factors, each, received)
    return received


def _at_most_one(factors: Singles) -> Singles:
    """Keep energy: no point sees more than its whole hemisphere."""
    total = factors.sum(axis=1)
    excess = total > 1.0
    if excess.any():
        factors[excess] /= total[excess, None]
    return factors


class System:
    """The bounce light between c cells for given view factors and materials.

    Solved by repeated substitution, which converges because nothing gives more than it
    gets. One that converges slowly (a white box) is factorised instead while it is small, once
    for every channel whose materials differ, and else solved by minimal residuals: some
    tens of products with the matrix, so that time grows with the square of the cells.

    Parameters
    ----------
    factors : (c, c) float
    diffuse, passes : (c, 3) float
    opposite : (c,) int
    """

    def __init__(
        self, factors: Singles, diffuse: Singles, passes: Singles, opposite: Integers
    ) -> None:
        self._factors = factors
        self._diffuse, self._passes, self._opposite = diffuse[:, None], passes[:, None], opposite
        self._lets_through = bool(passes.any())
        self._channels: list[tuple[Singles, Integers]] = []
        self._most = self._most_returned()
        if 0 < len(factors) <= MOST_FACTORISED and self._most > SLOW:
            grey = not (np.ptp(diffuse, axis=1).any() or np.ptp(passes, axis=1).any())
            self._channels = [self._factorise(c) for c in range(1 if grey else 3)]

    def _most_returned(self) -> float:
        """Greatest share of a cell's light that comes back to cells: the rate of convergence."""
        seen = self._factors.sum(axis=1)[:, None, None]
        return float(self._give(seen).max(initial=0.0))

    def _factorise(self, channel: int) -> tuple[Singles, Integers]:
        matrix = -self._diffuse[..., channel] * self._factors
        if self._lets_through:
            matrix -= self._passes[..., channel] * self._factors[self._opposite]
        matrix.flat[:: len(matrix) + 1] += 1.0
        from scipy import linalg  # slow to import, and only white boxes ask for it

        upper, pivots = linalg.lu_factor(matrix, overwrite_a=True, check_finite=False)
        return upper, pivots

    def settle(self, source: Floats) -> Singles:
        """Return the luminance of every cell, (c, ..., 3) float32.

        Parameters
        ----------
        source : (c, ..., 3) float
            Light on each cell that does not come from other cells, as luminance of white.
            There may be many lights; none depends on those it is asked about with.
        """
        shape = (len(source), math.prod(source.shape[1:-1]), 3)
        given = self._give(np.asarray(source, np.float32).reshape(shape))
        return self._solve(given).reshape(source.shape)

    def _solve(self, given: Singles) -> Singles:
        """Return all bounces of what cells give first, (c, k, 3)."""
        if self._channels:
            from scipy import linalg
        if len(self._channels) == 1:
            flat = given.reshape(len(given), -1)  # never without cells
            return np.asarray(linalg.lu_solve(self._channels[0], flat, check_finite=False))
        if self._channels:
            parts = [
                linalg.lu_solve(factor, given[..., c], check_finite=False)
                for c, factor in enumerate(self._channels)
            ]
            return np.stack(parts, axis=2)
        return self._minimise(given) if self._most > SLOW else self._substitute(given)

    def _minimise(self, given: Singles) -> Singles:
        """Return all bounces by GMRES, each light and channel for itself but all in step.

        (Y. Saad and M. H. Schultz, SIAM J. Sci. Stat. Comput. 7, 1986, without restart.)
        """
        shape, most = given.shape, self._most
        start = given.reshape(len(given), math.prod(shape[1:])).astype(np.float64)
        size = np.sqrt(np.sum(start * start, axis=0))
        safe = np.where(size > 0, size, 1.0)
        base = [start / safe]
        rows: list[Doubles] = []
        enough = CLOSE_ENOUGH * (1 - min(most, 0.9999))
        weights = np.zeros((1, start.shape[1]))
        for step in range(MOST_STEPS):
            along = np.asarray(base[-1], np.float32).reshape(shape)
            vector = base[-1] - self._give(times(self._factors, along)).reshape(start.shape)
            column = np.zeros((MOST_STEPS + 1, start.shape[1]))
            for place, known in enumerate(base):  # modified Gram-Schmidt
                column[place] = np.sum(known * vector, axis=0)
                vector = vector - column[place] * known
            left = np.sqrt(np.sum(vector * vector, axis=0))
            column[step + 1] = left
            rows.append(column)
            weights, residual = _least_squares(rows, step + 1)
            if (residual <= enough).all():
                break
            base.append(vector / np.where(left > 1e-12, left, np.inf))
        total = sum(base[i] * weights[i] for i in range(len(weights))) * size
        return np.asarray(total, np.float32).reshape(shape)

    def _substitute(self, given: Singles) -> Singles:
        scale = np.abs(given).max(axis=(0, 2), initial=0.0)
        total, step, size = given.copy(), given, scale
        # No bounce gives more than this share of the last. How much the last one did give says
        # less: from a lit card to a dark table little comes, and from there half of it back.
        ratio = min(self._most, 0.9999)
        enough = CLOSE_ENOUGH * scale * (1 - ratio)
        for _ in range(MOST_ROUNDS):
            going = size * ratio > enough
            if not going.any():
                break
            step = self._give(times(self._factors, step)) * going[:, None]
            total += step
            size = np.abs(step).max(axis=(0, 2))
        return total

    def _give(self, received: Singles) -> Singles:
        given: Singles = self._diffuse * received
        if self._lets_through:
            given += self._passes * received[self._opposite]
        return given


def both_systems(factors: Singles, patchwork: Patchwork) -> tuple[System, System]:
    """Return the bounce light with the sheet as paper, and as foil (which scatters nothing).

    The sheet is the first surface.
    """
    black = patchwork.diffuse.copy()
    black[patchwork.owners == 0] = 0.0
    rest = (patchwork.passes, patchwork.opposite)
    return System(factors, patchwork.diffuse, *rest), System(factors, black, *rest)
