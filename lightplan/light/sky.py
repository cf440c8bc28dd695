"""Light from the surroundings on matte points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Floats, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import Patchwork
from lightplan.light.rays import Rays
from lightplan.light.surround import Surroundings
from lightplan.scene.surfaces import Surface

LIFT_MM = 0.1  # rays start this far off their surface


class Skylight:
    """What n matte points receive from the surroundings."""

    def __init__(
        self, surroundings: Surroundings, rays: int, skip: frozenset[int] = frozenset()
    ) -> None:
        self._surroundings, self._count, self._skip = surroundings, rays, skip
        self._rays: Rays | None = None
        self._weights: Singles = np.zeros((0, 0), np.float32)

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, changed: frozenset[int],
        points: Floats, normals: Floats, *, moved: bool,
    ) -> Singles:  # fmt: skip
        """Return the light received, as luminance of white, (n, 3).

        `moved` tells that some of the points are elsewhere than last time.
        """
        if self._surroundings.is_dark or not len(points):
            return np.zeros((len(points), 3), np.float32)
        if self._rays is None or moved:
            self._aim(points, normals)
        assert self._rays is not None
        self._rays.update(surfaces, patchwork, changed, self._skip)
        free = self._rays.escaped() * self._weights
        if self._surroundings.has_probe:
            _, light = self._surroundings.beams
            return np.asarray(free @ (light / np.pi).astype(np.float32), np.float32)
        constant = self._surroundings.towards(np.array([[0.0, 0.0, 1.0]]))
        return np.asarray(free.sum(axis=1)[:, None] * constant, np.float32)

    def _aim(self, points: Floats, normals: Floats) -> None:
        start = points + LIFT_MM * normals
        if self._surroundings.has_probe:
            beams, _ = self._surroundings.beams
            directions = np.broadcast_to(beams[None], (len(points), *beams.shape))
            self._weights = np.maximum(normals @ beams.T, 0.0).astype(np.float32)
        else:
            square = point_sets.unit_square(self._count)
            local = point_sets.cosine_hemisphere(square)
            tangent, other = point_sets.frames(np.asarray(normals, float))
            frame = np.stack([tangent, other, normals], axis=1)
            directions = np.matmul(local[None], frame)
            self._weights = np.full(directions.shape[:2], 1.0 / self._count, np.float32)
        self._rays = Rays(start, directions)
