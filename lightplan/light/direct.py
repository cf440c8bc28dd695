"""Light that comes straight from a lamp to matte points, with its shadows.

The unshadowed amount is exact (Lambert's polygon, or the closed form of a sphere); the
shadow is the weighted share of the lamp's face that is hidden, from fixed points on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry.shapes import Ball, Flat, Samples
from lightplan.light import kernels
from lightplan.light.emission import LampFace
from lightplan.light.kept import NEW, Kept, Moves, gathered
from lightplan.light.visibility import Visibility, among
from lightplan.optics import view_factors
from lightplan.scene.surfaces import Surface


class DirectLight(Kept):
    """View factor times visibility from n matte points to every lamp, (lamps, n).

    All lamps are looked at together, each through spots of its own; what did not move is not
    worked out again.
    """

    def __init__(self, samples: int, *, finer: int = 0) -> None:
        self._samples, self._finer = samples, finer
        self._sight = Visibility()
        self._kernel: Singles | None = None
        self._whole: Doubles = np.zeros((0, 0))
        self._owners: tuple[Integers, Integers, tuple[int, ...]] | None = None
        self._moves: Moves | None = None

    def renumber(self, moves: Moves) -> None:
        """Count surfaces anew; what is known of those that stayed is laid out at the update."""
        self._sight.renumber(moves)
        self._moves = moves

    def _arrange(
        self, moves: Moves, owners: Integers, spots: Integers, lamps: tuple[int, ...]
    ) -> None:
        if self._kernel is None or self._owners is None:
            return
        before, spots_before, lamps_before = self._owners
        rows, cols = moves.rows(before, owners), moves.rows(spots_before, spots)
        self._kernel = gathered(self._kernel, rows, cols)
        came = [lamps_before.index(moves.came[i]) if moves.came[i] != NEW else NEW for i in lamps]
        self._whole = gathered(self._whole, np.array(came, int), rows)

    def update(
        self, surfaces: Sequence[Surface], lamps: Sequence[LampFace], changed: frozenset[int],
        points: Floats, normals: Floats, owners: Integers,
    ) -> Doubles:  # fmt: skip
        """Return the factors; luminance of white matte = factor x luminance of the lamp."""
        if not lamps:
            self._sight, self._kernel = Visibility(), None  # nothing is followed meanwhile
            self._owners, self._moves = None, None
            return np.zeros((0, len(points)))
        spots = _Spots.on(lamps, self._samples)
        names = tuple(lamp.surface for lamp in lamps)
        if self._moves is not None:
            self._arrange(self._moves, owners, spots.owners, names)
        self._owners, self._moves = (owners, spots.owners, names), None
        free = self._sight.update(surfaces, changed, points, owners, spots.points, spots.owners)
        self._look(lamps, spots, changed, points, normals, owners)
        assert self._kernel is not None
        shadow = _Shadow(self._kernel, free, spots.firsts)
        factors = shadow.shown(lamps, self._whole)
        if self._finer:
            for index, partly in enumerate(shadow.partly()):
                rows = np.flatnonzero(partly)
                if rows.size:
                    some = (points[rows], normals[rows], owners[rows])
                    closer = self._look_closer(surfaces, lamps[index], *some)
                    whole = self._whole[index : index + 1, rows]
                    factors[index, rows] = closer.shown(lamps[index : index + 1], whole)[0]
        return factors

    def _look(
        self, lamps: Sequence[LampFace], spots: _Spots, changed: frozenset[int], points: Floats,
        normals: Floats, owners: Integers,
    ) -> None:  # fmt: skip
        """Bring kernel and whole view factors up to date: of moved lamps, at moved points."""
        if self._kernel is None:
            self._kernel = np.zeros((len(points), len(spots.points)), np.float32)
            self._whole = np.zeros((len(lamps), len(points)))
            changed = frozenset(lamp.surface for lamp in lamps)
        else:
            self._kernel, self._whole = self._kernel.copy(), self._whole.copy()
        moved = np.array([lamp.surface in changed for lamp in lamps])
        everywhere, at_moved = np.arange(len(points)), np.flatnonzero(among(owners, changed))
        for some, rows in ((moved, everywhere), (~moved, at_moved)):
            if not (some.any() and rows.size):
                continue
            these = [lamp for lamp, wanted in zip(lamps, some, strict=True) if wanted]
            cols, part = spots.some(some)
            kernel = _kernel(these, part, points[rows], normals[rows])
            self._kernel[rows[:, None], cols] = kernel
            sampled = np.add.reduceat(kernel, part.firsts, axis=1).T
            whole = _whole(these, points[rows], normals[rows], sampled)
            self._whole[np.flatnonzero(some)[:, None], rows] = whole

    def _look_closer(
        self, surfaces: Sequence[Surface], lamp: LampFace, points: Floats, normals: Floats,
        owners: Integers,
    ) -> _Shadow:  # fmt: skip
        """Follow penumbras, where part of the lamp is hidden, with more points on it."""
        spots = _Spots.on((lamp,), self._finer)
        everything = frozenset(range(len(surfaces)))
        free = Visibility().update(surfaces, everything, points, owners, spots.points, spots.owners)
        return _Shadow(_kernel((lamp,), spots, points, normals), free, spots.firsts)


@dataclass(frozen=True, eq=False)
class _Spots:
    """Points on some lamps, lamp by lamp; `sizes` is how many there are of each."""

    points: Doubles
    normals: Doubles
    areas: Doubles
    owners: Integers
    sizes: Integers

    @classmethod
    def on(cls, lamps: Sequence[LampFace], count: int) -> _Spots:
        """Return about `count` points on each lamp."""
        each = [_spread(lamp.shape, count) for lamp in lamps]
        sizes = np.array([len(spots.points) for spots in each])
        points, normals, areas = (np.concatenate(parts) for parts in zip(*each, strict=True))
        owners = np.repeat([lamp.surface for lamp in lamps], sizes)
        return cls(points, normals, areas, owners, sizes)

    @cached_property
    def firsts(self) -> Integers:
        """Where the points of each lamp begin."""
        return np.cumsum(self.sizes) - self.sizes

    def some(self, lamps: Booleans) -> tuple[Integers, _Spots]:
        """Return where the points of some lamps are, and those alone."""
        cols = np.flatnonzero(np.repeat(lamps, self.sizes))
        if lamps.all():
            return cols, self
        return cols, _Spots(
            self.points[cols], self.normals[cols], self.areas[cols], self.owners[cols],
            self.sizes[lamps],
        )  # fmt: skip


@lru_cache(maxsize=64)
def _spread(shape: Flat | Ball, count: int) -> Samples:
    return shape.sample(4 * count if isinstance(shape, Ball) else count)


@dataclass(frozen=True, eq=False)
class _Shadow:
    """What points see of lamps: kernel and free lines of sight to spots on them, (n, m)."""

    kernel: Singles
    free: Booleans
    firsts: Integers

    def partly(self) -> Booleans:
        """Return (lamps, n) whether some of a lamp is hidden, but not all."""
        some = np.logical_or.reduceat(self.free, self.firsts, axis=1)
        return np.asarray((some & ~np.logical_and.reduceat(self.free, self.firsts, axis=1)).T)

    def shown(self, lamps: Sequence[LampFace], whole: Doubles) -> Doubles:
        """Return the factors (lamps, n) of what is not hidden, those of whole lamps given."""
        total = np.add.reduceat(self.kernel, self.firsts, axis=1).T
        seen = np.add.reduceat(self.kernel * self.free, self.firsts, axis=1).T
        share = np.divide(seen, total, out=np.zeros_like(seen), where=total > 0)
        profiled = [lamp.profile is not None for lamp in lamps]
        return np.where(np.array(profiled)[:, None], seen, whole * share)


def _kernel(lamps: Sequence[LampFace], spots: _Spots, points: Floats, normals: Floats) -> Singles:
    """Return the kernel (n, m) of spots on lamps, shadows left out."""
    kernel = lamp_kernel(spots, points, normals)
    for lamp in lamps:
        if lamp.profile is not None:
            mine = np.flatnonzero(spots.owners == lamp.surface)
            at, facing = spots.points[mine], spots.normals[mine]
            kernel[:, mine] *= lamp.profile_factor(points, at, facing)
    return kernel


def lamp_kernel(spots: Samples | _Spots, points: Floats, normals: Floats) -> Singles:
    """Return cos cos dA / (pi r2) from n points to m spots, (n, m)."""
    start, facing = (np.asarray(v.T, np.float32)[:, :, None] for v in (points, normals))
    end, away = (np.asarray(v.T, np.float32)[:, None] for v in (spots.points, spots.normals))
    x, y, z = end[0] - start[0], end[1] - start[1], end[2] - start[2]
    squared = np.maximum(x * x + y * y + z * z, 1.0)
    arrive = x * facing[0] + y * facing[1] + z * facing[2]
    leave = x * away[0] + y * away[1] + z * away[2]
    kernel: Singles = np.maximum(arrive, 0) * np.minimum(leave, 0)
    kernel /= squared * squared
    kernel *= (spots.areas / -np.pi).astype(np.float32)
    return kernel


def _whole(lamps: Sequence[LampFace], points: Floats, normals: Floats, sampled: Floats) -> Doubles:
    """View factors (lamps, n) of whole lamps without anything in between."""
    start, facing = np.asarray(points, float), np.asarray(normals, float)
    factors = np.zeros((len(lamps), len(points)))
    quads = []
    for index, lamp in enumerate(lamps):
        shape = lamp.shape
        if isinstance(shape, Ball):
            factors[index] = _of_ball(shape, start, facing, sampled[index])
        elif shape.is_round:
            factors[index] = view_factors.polygon(start, facing, shape.outline())
        else:
            quads.append(index)
    if quads:
        outlines = np.array([lamps[i].shape.outline() for i in quads])  # type: ignore[union-attr]
        many = (len(quads), 1)
        corners = np.repeat(outlines, len(start), axis=0)
        found = kernels.pair_polygon(np.tile(start, many), np.tile(facing, many), corners)
        factors[quads] = found.reshape(len(quads), -1)
    for index, lamp in enumerate(lamps):
        if isinstance(lamp.shape, Flat):
            before = (start - np.asarray(lamp.shape.centre)) @ lamp.shape.normal > 0
            factors[index] *= before
    return factors


def _of_ball(shape: Ball, points: Doubles, normals: Doubles, sampled: Floats) -> Doubles:
    step = np.asarray(shape.centre) - points
    squared = np.sum(step**2, axis=1)
    arrive = np.sum(step * normals, axis=1) / np.sqrt(squared)
    sine = shape.radius / np.sqrt(squared)
    # all of it above the horizon: the closed form; otherwise what the points say
    return np.where(arrive > sine, arrive * sine**2, np.asarray(sampled, float))
