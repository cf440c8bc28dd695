"""Where the foil looks: its mirrored rays, and where they meet the faces of the rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.exposure import clip_luminance, sheet_share
from lightplan.scene import Rig, relief
from lightplan.scene.mirroring import mirrored_ways

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Integers
    from lightplan.geometry.shapes import Flat
    from lightplan.light import Layers
    from lightplan.scene.surfaces import Surface

SOLID_FOIL = 0.5
LOBE_HALF_WIDTH = 1.3  # of a mirrored edge at distance d it is 1.3 alpha d, see light.foil


@dataclass(frozen=True, eq=False)
class FoilRays:
    """What each solid piece of foil mirrors to the camera.

    Attributes
    ----------
    points, directions : (n, 3) float
        Places on the foil [mm] and unit directions in which they look.
    sees : (n,) int
        Index into `names`.
    names : tuple of str
    level : (n,) float
        Brightest channel of the foil, 1 = clip level.
    """

    points: Doubles
    directions: Doubles
    sees: Integers
    names: tuple[str, ...]
    level: Doubles

    def nearest(self, where_mm: tuple[float, float]) -> int:
        """Return the index of the foil nearest to a place on the sheet."""
        return int(np.argmin(np.hypot(*(self.points[:, :2] - where_mm).T)))

    def name_at(self, where_mm: tuple[float, float]) -> str:
        """Return what the foil nearest to a place mirrors."""
        return self.names[int(self.sees[self.nearest(where_mm)])]

    def seeing(self, names: Sequence[str]) -> FoilRays:
        """Return only those rays that see one of some names."""
        wanted = [i for i, name in enumerate(self.names) if name in names]
        keep = np.isin(self.sees, wanted)
        return FoilRays(
            self.points[keep], self.directions[keep], self.sees[keep], self.names, self.level[keep]
        )

    def __len__(self) -> int:
        return len(self.points)


def foil_rays(rig: Rig, layers: Layers) -> FoilRays:
    """Return the mirrored rays of all solid foil; of the whole sheet where there is none."""
    share = sheet_share(rig, layers)
    solid = share > SOLID_FOIL
    if not solid.any():
        solid = np.ones_like(solid)
    row, col = np.nonzero(solid)
    x, y = layers.sheet_x_mm[col], layers.sheet_y_mm[row]
    points = np.stack([x, y, relief.height(rig.sheet, x, y)], axis=1)
    normals = relief.normals(rig.sheet, x, y)
    directions = mirrored_ways(rig.camera, points, normals)
    level = layers.sheet_foil[row, col].max(axis=1) / clip_luminance(rig, layers)
    return FoilRays(
        points, directions, layers.sees[row, col], layers.sees_names, level.astype(float)
    )


def places_on(face: Flat, rays: FoilRays) -> tuple[Doubles, Doubles]:
    """Return where rays meet the plane of a face, and how far away.

    Returns
    -------
    places_mm : (n, 2) float
        Along the face's right and up axes from its middle; NaN where never met.
    distance_mm : (n,) float
    """
    normal = face.normal
    offset = np.asarray(face.centre) - rays.points
    slope = rays.directions @ normal
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (offset @ normal) / slope
    distance = np.where(np.isfinite(distance) & (distance > 0), distance, np.nan)
    place = distance[:, None] * rays.directions - offset
    return np.stack([place @ np.asarray(face.right), place @ np.asarray(face.up)], 1), distance


def lobe_margin_mm(rig: Rig, distance_mm: float) -> float:
    """Return how far the foil's own blur reaches past a mirrored edge at a distance."""
    return LOBE_HALF_WIDTH * max(rig.sheet.foil.roughness) * distance_mm


def surface_named(surfaces: Sequence[Surface], name: str) -> Surface | None:
    """Return the surface of a name; None for what is no surface (a hole, a dark room)."""
    return next((surface for surface in surfaces if surface.name == name), None)
