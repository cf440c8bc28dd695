"""Questions that only tests ask of a rig, a sheet or its photograph."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from plain_pose import CameraPose, pose_of_points

from lightplan.mirror.rays import hit_plane, lattice, mirrored_rays
from lightplan.shots.sheet.outline import straighten

if TYPE_CHECKING:
    from lightplan.scene import Camera, Card, Sheet
    from lightplan.shots.sheet.corners import SheetFound


def covered_share(camera: Camera, sheet: Sheet, card: Card, *, swing_rad: float = 0.0) -> float:
    """Return the share of the sheet whose mirrored rays all meet a card (0 to 1).

    Nothing else is in the way here; the light model's glare map knows the rest.
    """
    points = lattice(sheet, 17)
    rays = mirrored_rays(camera, sheet, points, swing_rad=swing_rad)
    place, _ = hit_plane(rays, card.placement)
    with np.errstate(invalid="ignore"):
        inside = (np.abs(place) <= [card.width_mm / 2, card.height_mm / 2]).all(axis=1)
    if card.hole is not None:
        away = np.hypot(*(place - card.hole.offset_mm).T)
        inside &= ~(away < card.hole.diameter_mm / 2)
    return float(inside.reshape(len(points), -1).all(axis=1).mean())


def camera_pose(
    found: SheetFound, *, width_mm: float, height_mm: float, focal_px: float
) -> CameraPose:
    """Return the pose of the camera that sees the sheet's corners where they are.

    Parameters
    ----------
    found : SheetFound
    width_mm, height_mm : float
    focal_px : float
        Focal length in pixels of the picture the corners refer to; the lens axis is
        taken to be in the middle of the picture (a cropped picture gives a wrong pose).

    Raises
    ------
    PhotoError
        If no camera in front of the sheet sees the corners so.
    """
    rows, cols = found.shape
    corners = straighten(found.corners[:, ::-1], found.bending, found.shape)
    x, y = width_mm / 2, height_mm / 2
    sheet = np.array([[-x, y, 0], [x, y, 0], [x, -y, 0], [-x, -y, 0]])
    middle = (cols - 1) / 2, (rows - 1) / 2
    return pose_of_points(sheet, corners, focal_px=focal_px, middle=middle)
