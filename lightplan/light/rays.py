"""A fixed bundle of rays, and what each of them sees while surfaces move.

Distances to every surface are kept, so a moved card costs one look at that card only.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import TOUCH_MM
from lightplan.light.cells import DARK_TEXEL, Patchwork
from lightplan.light.compiled import tracing
from lightplan.light.kept import Kept, Moves
from lightplan.light.packed import Packed

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    from lightplan.arrays import Booleans, Floats, Integers, Singles
    from lightplan.scene.surfaces import Surface

NOTHING = -1  # surface index of a ray that meets nothing


class Rays(Kept):
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
        shape = directions.shape[:2]
        # kept channel by channel: every surface takes three matrix rows of it
        self._channels: Singles = np.ascontiguousarray(directions.reshape(-1, 3).T, np.float32)
        self.directions: Singles = self._channels.T.reshape(*shape, 3)
        self.distance: Singles = np.full(shape, np.inf, np.float32)
        self.surface: Integers = np.full(shape, NOTHING, np.int16)
        self.texel: Integers = np.full(shape, DARK_TEXEL, np.int32)
        self._ways: list[tuple[Singles, Integers] | None] = []
        self._rest: tuple[Singles, Integers, Integers] | None = None
        self._rest_without: frozenset[int] = frozenset()

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        ways = moves.listed(self._ways) if self._ways else []
        self._ways = [None if way is None else (way[0], moves.texels[way[1]]) for way in ways]
        self._rest, self._rest_without = None, frozenset()

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        changed: frozenset[int],
        skip: frozenset[int] = frozenset(),
    ) -> None:
        """Trace anew what the changed surfaces may have altered.

        Parameters
        ----------
        skip : set of int
            Surfaces that these rays pass (the sheet they start from).
        """
        fresh = len(self._ways) != len(surfaces)
        if fresh:
            self._ways = [None] * len(surfaces)
            changed = frozenset(range(len(surfaces)))
        for index in changed - skip:
            self._ways[index] = self._way_to(surfaces, patchwork, index)
        moving = frozenset() if len(changed) > len(surfaces) // 2 else changed
        if self._rest is None or not moving or moving != self._rest_without:
            self._start_over()
            for index in range(len(surfaces)):
                if index not in moving:
                    self._add(index)
            self._rest, self._rest_without = (self.distance, self.surface, self.texel), moving
        distance, surface, texel = self._rest
        self.distance, self.surface, self.texel = distance.copy(), surface.copy(), texel.copy()
        for index in sorted(moving):
            self._add(index)

    def _way_to(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, index: int
    ) -> tuple[Singles, Integers]:
        """Return how far (n, k) rays go to a surface, and the texels they see there."""
        scene = Packed.of(surfaces)
        if not scene.flat[index]:
            crossing = surfaces[index].shape.trace(self.origins, self.directions)
            met = np.isfinite(crossing.distance)  # elsewhere the place may be any number
            found = patchwork.texels(surfaces, index, *crossing[1:])
            return crossing.distance, np.where(met, found, np.int32(DARK_TEXEL))
        count = self.distance.shape
        distance, texel = np.empty(count, np.float32), np.empty(count, np.int32)
        tracing.trace_flat(
            self.origins[:, 0],
            self._channels,
            count[1],
            index,
            *scene.plates,
            scene.lines,
            scene.first_line,
            patchwork.seen_faces(surfaces, index),
            TOUCH_MM,
            distance.reshape(-1),
            texel.reshape(-1),
        )
        return distance, texel

    def _start_over(self) -> None:
        shape = self.distance.shape
        self.distance = np.full(shape, np.inf, np.float32)
        self.surface = np.full(shape, NOTHING, np.int16)
        self.texel = np.full(shape, DARK_TEXEL, np.int32)

    def _add(self, index: int) -> None:
        way = self._ways[index]
        if way is None:
            return
        distance, texel = way[0].reshape(-1), way[1].reshape(-1)
        so_far = self.distance.reshape(-1), self.texel.reshape(-1), self.surface.reshape(-1)
        tracing.nearest(distance, texel, index, *so_far)

    def smooth(self, scene: Packed, faces: Integers, table: Singles, seen: Singles) -> None:
        """Smooth what the rays of one origin see of flat faces, (n, 3), between their texels."""
        tracing.between_texels(
            self.origins[0, 0],
            self._channels,
            self.surface[0],
            self.distance[0],
            scene.centres,
            scene.frames,
            scene.halves,
            scene.lines,
            scene.first_line,
            faces,
            table,
            seen,
        )

    def first_among(self, some: Collection[int]) -> Integers:
        """Return (n, k) the first of some surfaces on each ray, NOTHING for none."""
        others = [i for i in range(len(self._ways)) if i not in some]
        if not np.isin(self.surface, others).any():
            return self.surface
        distance = np.full(self.surface.shape, np.inf, np.float32)
        surface = np.full(self.surface.shape, NOTHING, np.int16)
        for index in sorted(some):
            way = self._ways[index]
            if way is not None:
                closer = way[0] < distance
                np.copyto(distance, way[0], where=closer)
                np.copyto(surface, np.int16(index), where=closer)
        return surface

    def escaped(self) -> Booleans:
        """Return (n, k) whether a ray meets nothing."""
        free: Booleans = self.surface == NOTHING
        return free
