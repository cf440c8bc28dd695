"""Light from the surroundings on matte points."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.flats import meets
from lightplan.light.kept import Kept, Moves
from lightplan.light.visibility import among

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Floats, Integers, Singles
    from lightplan.light.coat import Entering
    from lightplan.light.surround import Surroundings
    from lightplan.scene.surfaces import Surface

LIFT_MM = 0.1  # rays start this far off their surface


class Skylight(Kept):
    """What n matte points receive from the surroundings.

    Points on surfaces that have moved are kept apart from the rest, whose rays then stay.
    Of what comes, `enters` tells the share that is let in, by its cosine.
    """

    def __init__(
        self,
        surroundings: Surroundings,
        rays: int,
        skip: frozenset[int] = frozenset(),
        enters: Entering | None = None,
    ) -> None:
        self._surroundings, self._count, self._skip = surroundings, rays, skip
        self._enters = enters
        self._groups: list[tuple[Integers, _Bundle | None]] = []
        self._moved: frozenset[int] = frozenset()

    def renumber(self, _: Moves) -> None:
        """Count surfaces anew: all points are looked at afresh."""
        self._groups, self._moved = [], frozenset()

    def update(
        self,
        surfaces: Sequence[Surface],
        changed: frozenset[int],
        points: Floats,
        normals: Floats,
        owners: Integers,
    ) -> Singles:
        """Return the light received, as luminance of white, (n, 3)."""
        received = np.zeros((len(points), 3), np.float32)
        if self._surroundings.is_dark:
            return received
        everything = len(changed) == len(surfaces)
        if not self._groups or everything or not changed <= self._moved:
            # what moves once moves again; a scene that is wholly new tells nothing about that
            self._moved = frozenset() if everything else self._moved | changed
            moves = among(owners, self._moved)
            self._groups = [(np.flatnonzero(~moves), None), (np.flatnonzero(moves), None)]
        moved = among(owners, changed)
        for index, (rows, bundle) in enumerate(self._groups):
            if not rows.size:
                continue
            if bundle is None or moved[rows].any():
                at = points[rows], normals[rows]
                bundle = _Bundle(self._surroundings, self._count, *at, self._enters)
                self._groups[index] = (rows, bundle)
            received[rows] = bundle.receive(surfaces, changed, self._skip)
        return received


class _Bundle(Kept):
    """Rays from some points to the surroundings."""

    def __init__(
        self,
        surroundings: Surroundings,
        count: int,
        points: Floats,
        normals: Floats,
        enters: Entering | None,
    ) -> None:
        self._surroundings = surroundings
        if surroundings.has_probe:
            beams, _ = surroundings.beams
            directions = np.broadcast_to(beams[None], (len(points), *beams.shape))
            cosine = np.maximum(normals @ beams.T, 0.0)
            weights = cosine
        else:
            local = point_sets.cosine_hemisphere(point_sets.unit_square(count))
            tangent, other = point_sets.frames(np.asarray(normals, float))
            directions = np.matmul(local[None], np.stack([tangent, other, normals], axis=1))
            cosine = np.broadcast_to(local[:, 2], directions.shape[:2])
            weights = np.full(directions.shape[:2], 1.0 / count)
        let_in = weights if enters is None else weights * enters(cosine)
        self._weights: Singles = np.asarray(let_in, np.float32)
        self._origins = (points + LIFT_MM * normals).astype(np.float32)[:, None]
        self._directions = np.ascontiguousarray(directions, np.float32)
        self._met: Booleans | None = None

    def _meet(
        self, surfaces: Sequence[Surface], changed: frozenset[int], skip: frozenset[int]
    ) -> Booleans:
        """Which surface each ray meets, (surfaces, n, k); those that did not move stay."""
        if self._met is None or len(self._met) != len(surfaces):
            changed = frozenset(range(len(surfaces)))
            self._met = np.zeros((len(surfaces), *self._directions.shape[:2]), bool)
        some = sorted(changed - skip)
        if some:
            shapes = [surfaces[i].shape for i in some]
            self._met = self._met.copy()
            self._met[some] = meets(shapes, self._origins, self._directions)
        return self._met

    def receive(
        self, surfaces: Sequence[Surface], changed: frozenset[int], skip: frozenset[int]
    ) -> Singles:
        """Return the light received, (n, 3)."""
        free = ~self._meet(surfaces, changed, skip).any(axis=0) * self._weights
        if self._surroundings.has_probe:
            _, light = self._surroundings.beams
            return np.asarray(free @ (light / np.pi).astype(np.float32), np.float32)
        constant = self._surroundings.towards(np.array([[0.0, 0.0, 1.0]]))
        return np.asarray(free.sum(axis=1)[:, None] * constant, np.float32)
