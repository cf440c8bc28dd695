"""Rays that meet metal coatings (silvered cards) or the foil: where, and what mirrors them on."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.light.cells import METAL_TEXEL
from lightplan.light.mirror_face import MirrorFace
from lightplan.optics.specular import SpecularCurve
from lightplan.scene import relief

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.arrays import Doubles, Integers
    from lightplan.light.ray_bundle import Rays
    from lightplan.scene.sheet import Sheet
    from lightplan.scene.surfaces import Face, Surface

SHEET = 0  # its surface


@dataclass(frozen=True, eq=False)
class MetalHit:
    """n rays of a bundle that meet one metal face, or the sheet's foil.

    Parameters
    ----------
    row, col : (n,) int
        The rays.
    spots : five (n, 3) float
        Points, directions back along the rays, and the frame (two tangents, normal).
    """

    surface: int
    row: Integers
    col: Integers
    spots: tuple[Doubles, Doubles, Doubles, Doubles, Doubles]
    roughness: tuple[float, float]
    curve: SpecularCurve

    @property
    def owners(self) -> Integers:
        """Surface of each spot."""
        return np.full(len(self.row), self.surface)

    def some(self, places: Integers) -> MetalHit:
        """Return some of the rays."""
        at, back, tangent, other, normal = (part[places] for part in self.spots)
        spots = (at, back, tangent, other, normal)
        return replace(self, row=self.row[places], col=self.col[places], spots=spots)


def metal_hits(rays: Rays, surfaces: Sequence[Surface]) -> Iterator[MetalHit]:
    """Yield the rays that end on metal, face by face."""
    row, col = np.nonzero(rays.texel == METAL_TEXEL)
    met = rays.surface[row, col]
    for index in np.unique(met):
        mine = met == index
        yield from _on_surface(rays, surfaces, int(index), row[mine], col[mine])


def _on_surface(
    rays: Rays, surfaces: Sequence[Surface], index: int, row: Integers, col: Integers
) -> Iterator[MetalHit]:
    directions = rays.directions[row, col].astype(float)
    points = rays.origins[row, 0] + rays.distance[row, col, None] * directions
    normals = np.asarray(surfaces[index].shape.normals_at(points), float)
    before = np.sum(directions * normals, axis=1) < 0
    for face, is_front in ((surfaces[index].front, True), (surfaces[index].back, False)):
        some = np.flatnonzero(before == is_front)
        if some.size and face.is_metal:
            facing = normals[some] if is_front else -normals[some]
            tangents, others = point_sets.frames(facing)
            spots = (points[some], -directions[some], tangents, others, facing)
            rough = (face.roughness, face.roughness)
            yield MetalHit(index, row[some], col[some], spots, rough, coating(face))


@dataclass(frozen=True, eq=False)
class FoilFace:
    """The sheet as a mirror that other mirrors show.

    Parameters
    ----------
    sheet : Sheet
    tangent : (3,) float
        Direction of the first roughness.
    roughness : (2,) float
        GGX alpha along and across it.
    curve : SpecularCurve
    """

    sheet: Sheet
    tangent: Doubles
    roughness: tuple[float, float]
    curve: SpecularCurve

    @property
    def is_even(self) -> bool:
        """Whether it has no waves."""
        return self.sheet.flatness.wave_mm == 0

    @property
    def face(self) -> MirrorFace:
        """The same as a face of the scene."""
        grating = self.sheet.foil.grating
        return MirrorFace(
            SHEET,
            is_front=True,
            curve=self.curve,
            roughness=self.roughness,
            tangent=self.tangent,
            bow=relief.bow_of(self.sheet) if self.is_even else None,
            grating=None if grating is None or grating.strength == 0 else grating,
        )

    def hits(self, rays: Rays) -> Iterator[MetalHit]:
        """Yield the rays that end on the foil."""
        row, col = np.nonzero(rays.surface == SHEET)
        directions = rays.directions[row, col].astype(float)
        down = directions[:, 2] < 0
        if not down.any():
            return
        row, col, directions = row[down], col[down], directions[down]
        points = rays.origins[row, 0] + rays.distance[row, col, None] * directions
        normals = relief.normals(self.sheet, points[:, 0], points[:, 1])
        tangents = self.tangent - (normals @ self.tangent)[:, None] * normals
        tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
        spots = (points, -directions, tangents, np.cross(normals, tangents), normals)
        yield MetalHit(SHEET, row, col, spots, self.roughness, self.curve)


def coating(face: Face) -> SpecularCurve:
    """Return the reflectance of a metal coating: the same at every angle."""
    rows = np.tile(np.asarray(face.metal, float), (2, 1))
    return SpecularCurve(rows, rows)
