"""A fixed bundle of rays, and what each of them sees while surfaces move.

Once something has moved, distances to all else are kept, so that it costs one look at what moves.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
        self._surfaces, self._patchwork, self._skip = surfaces, patchwork, skip
        if len(self._ways) != len(surfaces):
            self._ways = [None] * len(surfaces)
            changed = frozenset(range(len(surfaces)))
        for index in changed:
            self._ways[index] = None
        moving = frozenset() if len(changed) > len(surfaces) // 2 else changed
        seen = [index for index in range(len(surfaces)) if index not in skip]
        if self._rest is None or moving != self._rest_without:
            self._start_over()
            for index in seen:
                if index not in moving:
                    self._put_before(index, keep=bool(moving))
            # rays that are traced but once keep nothing: what they would keep is most of their size
            self._rest = (self.distance, self.surface, self.texel) if moving else None
            self._rest_without = moving
        if self._rest is not None:
            distance, surface, texel = self._rest
            self.distance, self.surface, self.texel = distance.copy(), surface.copy(), texel.copy()
            for index in seen:
                if index in moving:
                    self._put_before(index, keep=False)

    def _start_over(self) -> None:
        shape = self.distance.shape
        self.distance = np.full(shape, np.inf, np.float32)
        self.surface = np.full(shape, NOTHING, np.int16)
        self.texel = np.full(shape, DARK_TEXEL, np.int32)

    def _put_before(self, index: int, *, keep: bool) -> None:
        """Let rays meet one more surface; what is kept need not be traced when others move."""
        if keep or self._ways[index] is not None or not Packed.of(self._surfaces).flat[index]:
            way, seen = _flat(*self._way_to(index))
            so_far = _flat(self.distance, self.texel, self.surface)
            tracing.nearest(way, seen, index, *so_far)
        else:
            self._trace(index, self.distance, self.texel, self.surface)

    def _way_to(self, index: int) -> tuple[Singles, Integers]:
        """Return how far (n, k) rays go to a surface, and the texels they see there."""
        known = self._ways[index]
        if known is not None:
            return known
        surfaces, count = self._surfaces, self.distance.shape
        if Packed.of(surfaces).flat[index]:
            distance, texel = np.full(count, np.inf, np.float32), np.zeros(count, np.int32)
            self._trace(index, distance, texel, np.empty(count, np.int16))
        else:
            crossing = surfaces[index].shape.trace(self.origins, self.directions)
            met = np.isfinite(crossing.distance)  # elsewhere the place may be any number
            found = self._patchwork.texels(surfaces, index, *crossing[1:])
            distance, texel = crossing.distance, np.where(met, found, np.int32(DARK_TEXEL))
        self._ways[index] = distance, texel
        return distance, texel

    def _trace(self, index: int, distance: Singles, texel: Integers, surface: Integers) -> None:
        """Put a flat surface before what rays have met so far, where it is nearer."""
        scene = Packed.of(self._surfaces)
        tracing.trace_flat(
            self.origins[:, 0],
            self._channels,
            distance.shape[1],
            index,
            *scene.plates,
            scene.lines,
            scene.first_line,
            self._patchwork.seen_faces(self._surfaces, index),
            TOUCH_MM,
            *_flat(distance, texel, surface),
        )

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
        others = frozenset(range(len(self._surfaces))) - frozenset(some) - self._skip
        if not others:
            return self.surface
        stopped = np.isin(self.surface, list(others))
        if not stopped.any():
            return self.surface
        row, col = np.nonzero(stopped)
        on = Rays(self.origins[row, 0], self.directions[row, col][:, None])
        on.update(self._surfaces, self._patchwork, frozenset(), self._skip | others)
        surface = self.surface.copy()
        surface[row, col] = on.surface[:, 0]
        return surface

    def escaped(self) -> Booleans:
        """Return (n, k) whether a ray meets nothing."""
        free: Booleans = self.surface == NOTHING
        return free


def _flat(*arrays: Any) -> list[Any]:
    return [array.reshape(-1) for array in arrays]
