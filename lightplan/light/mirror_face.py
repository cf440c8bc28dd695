"""One face of a scene that mirrors: the foil, or a side of a silvered card."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.shapes import Flat
from lightplan.light.glints import FLAT, Between
from lightplan.light.mirrors import Mirrors

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.geometry.shapes import Samples
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.sheet import Grating
    from lightplan.scene.surfaces import Surface

GAP = 0.35  # widest gap between spots of it, over a point's distance from it
JOINED_BELOW = GAP  # only a mirror so rough shows a lamp in all spots, and smoothly


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
    bow : (4,) float or None
        As in `light.glints.Between`; None where it is uneven otherwise.
    grating : Grating or None
        What sends part of the light of lamps on by its colour. Light of other things counts as
        mirrored by all of the face.
    """

    def __init__(
        self,
        surface: int,
        *,
        is_front: bool,
        curve: SpecularCurve,
        roughness: tuple[float, float],
        tangent: Doubles | None = None,
        bow: tuple[float, float, float, float] | None = FLAT,
        grating: Grating | None = None,
    ) -> None:
        self.grating = grating
        self.surface, self.is_front, self.curve = surface, is_front, curve
        self.roughness, self._tangent, self.bow = roughness, tangent, bow

    @property
    def joins(self) -> bool:
        """Whether matte points and lamps are joined over places of it."""
        return self.bow is not None and min(self.roughness) < JOINED_BELOW

    @property
    def between(self) -> Between:
        """The same as a mirror that light goes by."""
        assert self.bow is not None
        return Between(
            self.surface, self.is_front, self.curve, self.roughness, self._tangent, self.bow
        )

    def spots(self, surfaces: Sequence[Surface], count: int) -> Samples:
        """Return points spread over it with normals out of this face."""
        found = surfaces[self.surface].shape.sample(count)
        return found if self.is_front else found._replace(normals=-found.normals)

    @property
    def turn(self) -> float:
        """Direction of its first roughness."""
        return 0.0 if self._tangent is None else math.atan2(self._tangent[1], self._tangent[0])

    def places(
        self, surfaces: Sequence[Surface], square: Doubles
    ) -> tuple[Doubles, Doubles, float]:
        """Return what points (n, 2) of a square are on this flat one, its normals and its area."""
        shape = surfaces[self.surface].shape
        assert isinstance(shape, Flat)
        flat = (2.0 * square - 1.0) * [shape.half_width, shape.half_height]
        found = np.asarray(shape.centre) + flat @ np.array([shape.right, shape.up])
        normals = np.broadcast_to(np.asarray(shape.normal, float), found.shape)
        size = 4.0 * shape.half_width * shape.half_height
        return found, normals if self.is_front else -normals, size

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
