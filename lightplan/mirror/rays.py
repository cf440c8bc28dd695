"""Rays from the lens, mirrored by the sheet: where each point of the foil looks.

The family of angles is the set of these directions. A flat sheet mirrors the lens to
the other side of z = 0; a bowed one is followed through its own normals, so both come
from the same few lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene import Sheet, relief
from lightplan.scene.mirroring import mirrored_ways

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.scene import Camera, Flatness, Placement


@dataclass(frozen=True, eq=False)
class MirroredRays:
    """Where points of the sheet look.

    Parameters
    ----------
    origins_mm : (n, 3) float
        Points of the sheet's surface.
    directions : (n, 3) float
        Unit directions in which a mirror there sees the surroundings.
    """

    origins_mm: Doubles
    directions: Doubles


def lattice(sheet: Sheet, count: int = 9) -> Doubles:
    """Return points (x, y) on the whole sheet, edges included, as (count**2, 2) float, in mm."""
    x = np.linspace(-sheet.width_mm / 2, sheet.width_mm / 2, count)
    y = np.linspace(sheet.height_mm / 2, -sheet.height_mm / 2, count)
    grid_x, grid_y = np.meshgrid(x, y)
    return np.stack([grid_x.ravel(), grid_y.ravel()], axis=-1)


def surface(sheet: Sheet, xy_mm: Doubles) -> tuple[Doubles, Doubles]:
    """Return points on the sheet and the upward unit normals there.

    The bow is a parabola along its direction, over the sheet's full extent in that
    direction. The wave is left out: its slope is a margin (see `wave_slope`).

    Parameters
    ----------
    xy_mm : (n, 2) float

    Returns
    -------
    points, normals : (n, 3) float
    """
    even = _without_wave(sheet.width_mm, sheet.height_mm, sheet.flatness)
    x, y = np.asarray(xy_mm, float).T
    return np.column_stack([x, y, relief.height(even, x, y)]), relief.normals(even, x, y)


@lru_cache(64)
def _without_wave(width_mm: float, height_mm: float, flatness: Flatness) -> Sheet:
    """Return a sheet of that shape; its artwork, which is checked anew in each, is left out."""
    return Sheet(width_mm=width_mm, height_mm=height_mm, flatness=replace(flatness, wave_mm=0.0))


def wave_slope(flatness: Flatness) -> float:
    """Return the steepest slope of the waviness, as a tangent."""
    return 2 * math.pi * flatness.wave_mm / flatness.wave_length_mm


def mirrored_rays(
    camera: Camera, sheet: Sheet, xy_mm: Doubles, *, swing_rad: float = 0.0, spokes: int = 8
) -> MirroredRays:
    """Return the mirrored rays of points of the sheet.

    Parameters
    ----------
    xy_mm : (n, 2) float
    swing_rad : float
        Also follow normals that are tilted by this much in `spokes` directions; a
        normal's swing turns the ray by twice as much. [rad]

    Returns
    -------
    MirroredRays
        n rays, or n (1 + spokes) with a swing.
    """
    points, normals = surface(sheet, xy_mm)
    if swing_rad > 0:
        turn = 2 * math.pi * np.arange(spokes) / spokes
        lean = math.tan(swing_rad) * np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1)
        tilted = normals[:, None, :] + np.vstack([np.zeros(3), lean])
        normals = (tilted / np.linalg.norm(tilted, axis=-1, keepdims=True)).reshape(-1, 3)
        points = np.repeat(points, spokes + 1, axis=0)
    return MirroredRays(points, mirrored_ways(camera, points, normals))


def hit_plane(rays: MirroredRays, plane: Placement) -> tuple[Doubles, Doubles]:
    """Return where rays meet a plane, in its own axes.

    Returns
    -------
    places_mm : (n, 2) float
        (right, up) from the plane's position as seen by someone who looks at its front;
        NaN where a ray never meets it.
    distance_mm : (n,) float
        Along the ray; NaN likewise.
    """
    right, up, normal = plane.axes()
    offset = np.asarray(plane.position_mm) - rays.origins_mm
    slope = rays.directions @ normal
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = (offset @ normal) / slope
    distance = np.where(np.isfinite(distance) & (distance > 0), distance, np.nan)
    place = distance[:, None] * rays.directions - offset
    return np.stack([place @ right, place @ up], axis=-1), distance


def centre_ray(camera: Camera, sheet: Sheet) -> tuple[Doubles, Doubles]:
    """Return origin and direction of the ray mirrored at the middle of the sheet."""
    rays = mirrored_rays(camera, sheet, np.zeros((1, 2)))
    return rays.origins_mm[0], rays.directions[0]
