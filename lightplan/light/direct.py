"""Light that comes straight from a lamp to matte points, with its shadows.

The unshadowed amount is exact (Lambert's polygon, or the closed form of a sphere); the
shadow is the weighted share of the lamp's face that is hidden, from fixed points on it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry.shapes import Ball, Flat, Samples
from lightplan.light import kernels
from lightplan.light.emission import LampFace
from lightplan.light.visibility import Visibility, among
from lightplan.optics import view_factors
from lightplan.scene.surfaces import Surface


class DirectLight:
    """View factor times visibility from n matte points to every lamp, (lamps, n)."""

    def __init__(self, samples: int, *, finer: int = 0) -> None:
        self._samples, self._finer = samples, finer
        self._views: dict[int, _LampView] = {}

    def update(
        self, surfaces: Sequence[Surface], lamps: Sequence[LampFace], changed: frozenset[int],
        points: Floats, normals: Floats, owners: Integers,
    ) -> Doubles:  # fmt: skip
        """Return the factors; luminance of white matte = factor x luminance of the lamp."""
        factors = np.zeros((len(lamps), len(points)))
        for index, lamp in enumerate(lamps):
            if index not in self._views:
                self._views[index] = _LampView(self._samples)
            factor, free = self._views[index].update(
                surfaces, lamp, changed, points, normals, owners
            )
            partly = np.flatnonzero(free.any(axis=1) & ~free.all(axis=1))
            if self._finer and partly.size:
                closer = self._look_closer(
                    surfaces, lamp, points[partly], normals[partly], owners[partly]
                )
                factor[partly] = closer.shown(lamp, self._views[index].whole[partly])
            factors[index] = factor
        return factors

    def _look_closer(
        self, surfaces: Sequence[Surface], lamp: LampFace, points: Floats, normals: Floats,
        owners: Integers,
    ) -> _Shadow:  # fmt: skip
        """Follow penumbras, where part of the lamp is hidden, with more points on it."""
        spots = _spread(lamp, self._finer)
        everything, spot_owners = frozenset(range(len(surfaces))), _all(lamp, spots)
        free = Visibility().update(surfaces, everything, points, owners, spots.points, spot_owners)
        return _Shadow(_kernel(lamp, spots, points, normals), free)


@dataclass(frozen=True, eq=False)
class _Shadow:
    """What points see of a lamp: kernel and free lines of sight to spots on it, (n, m)."""

    kernel: Singles
    free: Booleans

    def shown(self, lamp: LampFace, whole: Doubles) -> Doubles:
        """Return the factor (n,) of what is not hidden, that of the whole lamp given."""
        if lamp.profile is not None:
            return np.asarray(np.einsum("nm,nm->n", self.kernel, self.free, dtype=float))
        total = self.kernel.sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            seen = np.einsum("nm,nm->n", self.kernel, self.free)
            return np.asarray(whole * np.where(total > 0, seen / total, 0.0))


class _LampView:
    """One lamp seen from n points; what did not move is not worked out again."""

    def __init__(self, samples: int) -> None:
        self._samples = samples
        self._sight = Visibility()
        self._kernel: Singles | None = None
        self.whole: Doubles = np.zeros(0)

    def update(
        self, surfaces: Sequence[Surface], lamp: LampFace, changed: frozenset[int],
        points: Floats, normals: Floats, owners: Integers,
    ) -> tuple[Doubles, Booleans]:  # fmt: skip
        """Return the factor (n,) and the free lines of sight (n, m)."""
        spots = _spread(lamp, self._samples)
        free = self._sight.update(
            surfaces, changed, points, owners, spots.points, _all(lamp, spots)
        )
        if self._kernel is None or lamp.surface in changed:
            self._kernel = _kernel(lamp, spots, points, normals)
            self.whole = _whole(lamp, points, normals, self._kernel.sum(axis=1))
        else:
            rows = np.flatnonzero(among(owners, changed))
            if rows.size:
                self._kernel[rows] = _kernel(lamp, spots, points[rows], normals[rows])
                sampled = self._kernel[rows].sum(axis=1)
                self.whole[rows] = _whole(lamp, points[rows], normals[rows], sampled)
        return _Shadow(self._kernel, free).shown(lamp, self.whole), free


def _all(lamp: LampFace, spots: Samples) -> Integers:
    """Return the owner of each spot: the lamp's own surface."""
    return np.full(len(spots.points), lamp.surface)


def _kernel(lamp: LampFace, spots: Samples, points: Floats, normals: Floats) -> Singles:
    """Return the kernel (n, m) of spots on a lamp, shadows left out."""
    kernel, cosine_out = lamp_kernel(spots, points, normals)
    if lamp.profile is not None:
        kernel *= lamp.profile_factor(points, spots.points, cosine_out)
    return kernel


def _spread(lamp: LampFace, count: int) -> Samples:
    if isinstance(lamp.shape, Ball):
        return lamp.shape.sample(4 * count)
    return lamp.shape.sample(count)


def lamp_kernel(spots: Samples, points: Floats, normals: Floats) -> tuple[Singles, Singles]:
    """Return cos cos dA / (pi r2) and the cosine at the lamp, both (n, m)."""
    start, facing = points.astype(np.float32), normals.astype(np.float32)
    step = spots.points.astype(np.float32)[None] - start[:, None]
    squared = np.maximum(np.einsum("nmc,nmc->nm", step, step), 1.0)
    arrive = np.einsum("nmc,nc->nm", step, facing)
    leave = -np.einsum("nmc,mc->nm", step, spots.normals.astype(np.float32))
    distance = np.sqrt(squared)
    kernel = np.maximum(arrive, 0) * np.maximum(leave, 0) / (squared * squared)
    kernel *= (spots.areas / np.pi).astype(np.float32)
    return kernel, np.maximum(leave, 0) / distance


def _whole(lamp: LampFace, points: Floats, normals: Floats, sampled: Floats) -> Doubles:
    """View factor of the whole lamp without anything in between."""
    shape = lamp.shape
    start, facing = np.asarray(points, float), np.asarray(normals, float)
    if isinstance(shape, Flat):
        before = (start - np.asarray(shape.centre)) @ shape.normal > 0
        if shape.is_round:
            factor = view_factors.polygon(start, facing, shape.outline())
        else:
            corners = np.broadcast_to(shape.outline(), (len(start), 4, 3))
            factor = kernels.pair_polygon(start, facing, corners)
        return np.where(before, factor, 0.0)
    step = np.asarray(shape.centre) - start
    squared = np.sum(step**2, axis=1)
    arrive = np.sum(step * facing, axis=1) / np.sqrt(squared)
    sine = shape.radius / np.sqrt(squared)
    # all of it above the horizon: the closed form; otherwise what the points say
    return np.where(arrive > sine, arrive * sine**2, np.asarray(sampled, float))
