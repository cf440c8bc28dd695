"""A fixed bundle of rays, and what each of them sees while surfaces move.

Distances to every surface are kept, so a moved card costs one look at that card only.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import DARK_TEXEL, METAL_TEXEL, Patchwork
from lightplan.light.metal import reflect_from_metal
from lightplan.scene.surfaces import Surface

NOTHING = -1  # surface index of a ray that meets nothing
DEPTH = 4  # reflections between metal surfaces that are followed


class Rays:
    """n x k rays from n origins.

    Attributes
    ----------
    surface : (n, k) int
        First surface met, NOTHING for none.
    texel : (n, k) int
        What it shows there; METAL_TEXEL where the ray would go on.
    distance : (n, k) float32
        Way to it, mm.
    """

    def __init__(self, origins: Floats, directions: Floats) -> None:
        self.origins = np.ascontiguousarray(origins, np.float32)[:, None, :]
        self.directions = np.ascontiguousarray(directions, np.float32)
        shape = self.directions.shape[:2]
        self.distance: Singles = np.full(shape, np.inf, np.float32)
        self.surface: Integers = np.full(shape, NOTHING, np.int16)
        self.texel: Integers = np.zeros(shape, np.int32)
        self._ways: list[Singles] = []
        self._rest: tuple[Singles, Integers, Integers] | None = None
        self._rest_without: frozenset[int] | None = None

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, changed: frozenset[int],
        skip: frozenset[int] = frozenset(),
    ) -> None:  # fmt: skip
        """Trace anew what the changed surfaces may have altered.

        Parameters
        ----------
        skip : set of int
            Surfaces that these rays pass (the sheet they start from).
        """
        fresh = len(self._ways) != len(surfaces)
        if fresh:
            self._ways = [self.distance] * len(surfaces)
            changed = frozenset(range(len(surfaces)))
        for index in changed - skip:
            self._ways[index] = surfaces[index].shape.distance(self.origins, self.directions)
        moving = frozenset() if len(changed) > len(surfaces) // 2 else changed
        if fresh or self._rest is None or moving != self._rest_without or not moving:
            rest = [i for i in range(len(surfaces)) if i not in moving and i not in skip]
            self._rest = self._nearest(surfaces, patchwork, rest)
            self._rest_without = moving
        self.distance, self.surface, self.texel = (part.copy() for part in self._rest)
        for index in sorted(moving - skip):
            self._add(surfaces, patchwork, index)

    def _nearest(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, rest: list[int]
    ) -> tuple[Singles, Integers, Integers]:
        self.distance = np.full(self.distance.shape, np.inf, np.float32)
        self.surface = np.full(self.distance.shape, NOTHING, np.int16)
        self.texel = np.full(self.distance.shape, DARK_TEXEL, np.int32)
        for index in rest:
            closer = self._ways[index] < self.distance
            np.copyto(self.distance, self._ways[index], where=closer)
            self.surface[closer] = index
        for index in rest:
            self._look(surfaces, patchwork, index, self.surface == index)
        return self.distance, self.surface, self.texel

    def _add(self, surfaces: Sequence[Surface], patchwork: Patchwork, index: int) -> None:
        closer = self._ways[index] < self.distance
        np.copyto(self.distance, self._ways[index], where=closer)
        self.surface[closer] = index
        self._look(surfaces, patchwork, index, closer)

    def _look(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, index: int, where: Booleans
    ) -> None:
        row, col = np.nonzero(where)
        if row.size:
            directions = self.directions[row, col]
            spots = self.origins[row, 0] + self.distance[row, col, None] * directions
            self.texel[row, col] = patchwork.texel_of(surfaces, index, spots, directions)

    def escaped(self) -> Booleans:
        """Return (n, k) whether a ray meets nothing."""
        free: Booleans = self.surface == NOTHING
        return free


class MetalPaths:
    """What the rays of a bundle that meet metal coatings see in the end."""

    def __init__(
        self, rays: Rays, surfaces: Sequence[Surface], patchwork: Patchwork
    ) -> None:  # fmt: skip
        self.row, self.col = np.nonzero(rays.texel == METAL_TEXEL)
        count = len(self.row)
        self.texel = np.full(count, DARK_TEXEL)
        self.weight = np.ones((count, 3), np.float32)
        self.directions: Doubles = np.zeros((count, 3))
        self.is_free = np.zeros(count, bool)
        if count:
            self._follow(rays, surfaces, patchwork)

    def _follow(self, rays: Rays, surfaces: Sequence[Surface], patchwork: Patchwork) -> None:
        live = np.arange(len(self.row))
        directions = rays.directions[self.row, self.col].astype(float)
        ways = rays.distance[self.row, self.col, None]
        spots = rays.origins[self.row, 0] + ways * directions
        hit = rays.surface[self.row, self.col]
        for depth in range(DEPTH):
            square = (point_sets.unit_square(len(self.row)) + 0.31 * depth) % 1.0
            onward, weight = reflect_from_metal(surfaces, hit, spots, directions, square[live])
            self.weight[live] *= weight
            step = Rays(spots, onward[:, None])
            step.update(surfaces, patchwork, frozenset())
            self.texel[live] = step.texel[:, 0]
            self.directions[live] = onward
            self.is_free[live] = step.escaped()[:, 0]
            more = step.texel[:, 0] == METAL_TEXEL
            spots = (spots + step.distance * onward)[more]
            live, directions, hit = live[more], onward[more], step.surface[more, 0]
            if not live.size:
                return
        self.texel[live] = DARK_TEXEL
