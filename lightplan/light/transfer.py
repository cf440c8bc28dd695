"""Light that matte points get by way of a rough mirror: the foil itself, a silvered card."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.geometry.shapes import Samples
from lightplan.light.cells import Patchwork
from lightplan.light.direct import lamp_kernel
from lightplan.light.emission import LampFace
from lightplan.light.glossy import GlossyLight, Mirrors
from lightplan.light.surround import Surroundings
from lightplan.light.visibility import Visibility
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.surfaces import Surface

SPOTS, RAYS, LAMP_SPOTS = 21, 5, 9
FAINT = 2e-6  # view factors below this are left out


class MirrorFace:
    """One rough-mirror face of the scene.

    Parameters
    ----------
    surface : int
    is_front : bool
    curve : SpecularCurve
    roughness : (2,) float
        GGX alpha along and across `tangent`.
    tangent : (3,) float or None
        Direction of the first roughness; any for a plain face.
    """

    def __init__(
        self, surface: int, *, is_front: bool, curve: SpecularCurve,
        roughness: tuple[float, float], tangent: Doubles | None = None,
    ) -> None:  # fmt: skip
        self.surface, self.is_front, self.curve = surface, is_front, curve
        self.roughness, self._tangent = roughness, tangent

    def spots(self, surfaces: Sequence[Surface], count: int) -> Samples:
        """Return points spread over it with normals out of this face."""
        found = surfaces[self.surface].shape.sample(count)
        return found if self.is_front else found._replace(normals=-found.normals)

    def mirrors(self, points: Doubles, normals: Doubles, views: Doubles) -> Mirrors:
        """Return spots of it that are viewed along given directions."""
        if self._tangent is None:
            tangents, others = point_sets.frames(normals)
        else:
            tangents = np.broadcast_to(self._tangent, normals.shape)
            tangents = tangents - np.sum(tangents * normals, axis=1, keepdims=True) * normals
            tangents = tangents / np.linalg.norm(tangents, axis=1, keepdims=True)
            others = np.cross(normals, tangents)
        owners = np.full(len(points), self.surface)
        return Mirrors(points, views, tangents, others, normals, self.roughness, owners)


class MirrorTransfer:
    """What n matte points of one surface get by way of one mirror face."""

    def __init__(self, face: MirrorFace) -> None:
        self._face = face
        self._sight = Visibility()
        self._light: GlossyLight | None = None
        self._row: Integers = np.zeros(0, int)
        self._share: Singles = np.zeros(0, np.float32)
        self._count = 0

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int], points: Floats, normals: Floats, owner: int,
    ) -> None:  # fmt: skip
        """Follow moved surfaces; `owner` is the surface of all the points."""
        self._count = len(points)
        spots = self._face.spots(surfaces, SPOTS)
        kernel, _ = lamp_kernel(spots, points, normals)
        mirror_owners = np.full(len(spots.points), self._face.surface)
        free = self._sight.update(
            surfaces, changed, points, np.full(len(points), owner), spots.points, mirror_owners
        )
        moved = self._light is None or bool({owner, self._face.surface} & changed)
        if moved:
            self._row, self._col = np.nonzero(kernel > FAINT)
            if not self._row.size:
                self._light = None
                return
            views = np.asarray(points)[self._row] - spots.points[self._col]
            views = views / np.linalg.norm(views, axis=1, keepdims=True)
            mirrors = self._face.mirrors(
                spots.points[self._col], spots.normals[self._col], views
            )
            self._light = GlossyLight(
                mirrors, self._face.curve, rays=RAYS, spots=LAMP_SPOTS,
                skip=frozenset((self._face.surface,)),
            )  # fmt: skip
        if self._light is not None:
            self._share = kernel[self._row, self._col] * free[self._row, self._col]
            # spots outside the horizon of every point carry nothing: no need to follow them
            self._light.update(surfaces, patchwork, lamps, changed)

    def evaluate(self, texels: Singles, surroundings: Surroundings) -> Singles:
        """Return the light received, as luminance of white, (n, 3)."""
        if self._light is None:
            return np.zeros((self._count, 3), np.float32)
        seen = self._light.evaluate(texels, surroundings) * self._share[:, None]
        return np.stack(
            [np.bincount(self._row, seen[:, c], self._count) for c in range(3)], axis=1
        ).astype(np.float32)


def plain_curve(reflectance: tuple[float, float, float]) -> SpecularCurve:
    """Return a mirror whose reflectance is the same at every angle."""
    rows = np.tile(np.asarray(reflectance, float), (2, 1))
    return SpecularCurve(rows, rows)
