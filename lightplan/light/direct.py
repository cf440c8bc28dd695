"""Light that comes straight from a lamp to matte points, with its shadows.

The unshadowed amount is exact (Lambert's polygon, or the closed form of a sphere); the
shadow is the weighted share of the lamp's face that is hidden, from fixed points on it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Doubles, Floats, Integers, Singles
from lightplan.geometry.shapes import Ball, Flat, Samples
from lightplan.light.emission import LampFace
from lightplan.light.visibility import Visibility
from lightplan.optics import view_factors
from lightplan.scene.surfaces import Surface


class DirectLight:
    """View factor times visibility from n matte points to every lamp, (lamps, n)."""

    def __init__(
        self, samples: int, skip: frozenset[tuple[int, int]] = frozenset(), *, finer: int = 0
    ) -> None:
        self._samples, self._finer = samples, finer
        self._skip = skip
        self._sight: dict[int, Visibility] = {}
        self.factors: Doubles = np.zeros((0, 0))

    def update(
        self, surfaces: Sequence[Surface], lamps: Sequence[LampFace], changed: frozenset[int],
        points: Floats, normals: Floats, owners: Integers,
    ) -> Doubles:  # fmt: skip
        """Return the factors; luminance of white matte = factor x luminance of the lamp."""
        rows = []
        for lamp in lamps:
            spots = _spread(lamp, self._samples)
            sight = self._sight.setdefault(lamp.surface, Visibility(skip=self._skip))
            owner = np.full(len(spots.points), lamp.surface)
            free = sight.update(surfaces, changed, points, owners, spots.points, owner)
            factor = _factor(lamp, spots, points, normals, free)
            partly = np.flatnonzero(free.any(axis=1) & ~free.all(axis=1))
            if self._finer and partly.size:
                factor[partly] = self._look_closer(
                    surfaces, lamp, points[partly], normals[partly], owners[partly]
                )
            rows.append(factor)
        self.factors = np.array(rows).reshape(len(lamps), len(points))
        return self.factors

    def _look_closer(
        self, surfaces: Sequence[Surface], lamp: LampFace, points: Floats, normals: Floats,
        owners: Integers,
    ) -> Doubles:  # fmt: skip
        """Work out penumbras, where part of the lamp is hidden, with more points on it."""
        spots = _spread(lamp, self._finer)
        owner = np.full(len(spots.points), lamp.surface)
        everything = frozenset(range(len(surfaces)))
        sight = Visibility(skip=self._skip)
        free = sight.update(surfaces, everything, points, owners, spots.points, owner)
        return _factor(lamp, spots, points, normals, free)


def _spread(lamp: LampFace, count: int) -> Samples:
    if isinstance(lamp.shape, Ball):
        return lamp.shape.sample(4 * count)
    return lamp.shape.sample(count)


def _factor(
    lamp: LampFace, spots: Samples, points: Floats, normals: Floats, free: Floats
) -> Doubles:
    kernel, cosine_out = lamp_kernel(spots, points, normals)
    if lamp.profile is not None:
        kernel = kernel * lamp.profile_factor(points, spots.points, cosine_out)
        return np.asarray((kernel * free).sum(axis=1), float)
    total = kernel.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(total > 0, (kernel * free).sum(axis=1) / total, 0.0)
    return np.asarray(_whole(lamp, points, normals, total) * share, float)


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
        factor = view_factors.polygon(start, facing, shape.outline())
        return np.where(before, factor, 0.0)
    if isinstance(shape, Ball):
        step = np.asarray(shape.centre) - start
        squared = np.sum(step**2, axis=1)
        arrive = np.sum(step * facing, axis=1) / np.sqrt(squared)
        sine = shape.radius / np.sqrt(squared)
        # all of it above the horizon: the closed form; otherwise what the points say
        return np.where(arrive > sine, arrive * sine**2, np.asarray(sampled, float))
    return np.asarray(sampled, float)
