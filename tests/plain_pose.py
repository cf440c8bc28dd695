"""Where the camera stood, from the sheet's corners and the focal length."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import PhotoError


@dataclass(frozen=True, eq=False)
class CameraPose:
    """Place and direction of the camera in the sheet's frame.

    Parameters
    ----------
    position_mm : (3,) float
        Of the lens; x right, y away from the maker, z up from the sheet's middle.
    rotation : (3, 3) float
        From the sheet's frame to the camera's (x right, y down, z into the scene).
    distance_mm : float
        From the lens to the sheet's middle.
    tilt_rad : float
        Angle between the lens axis and the sheet's normal; 0 is square to the sheet.
    rms_px : float
        Root mean square distance between the corners and where this pose puts them.
    """

    position_mm: Doubles
    rotation: Doubles
    distance_mm: float
    tilt_rad: float
    rms_px: float

    @property
    def height_mm(self) -> float:
        """Height of the lens above the sheet's plane."""
        return float(self.position_mm[2])


def pose_of_points(
    points_mm: Doubles,
    seen: Doubles,
    *,
    focal_px: float | tuple[float, float],
    middle: tuple[float, float],
) -> CameraPose:
    """Return the pose from places on the plane z = 0.

    Parameters
    ----------
    points_mm : (n, 3) float
        At least four, z = 0.
    seen : (n, 2) float
        (x, y) pixels without distortion.
    focal_px : float or (float, float)
        Along columns and rows.
    middle : (2,) float
        (x, y) of the lens axis in the picture.
    """
    focals = (focal_px, focal_px) if isinstance(focal_px, int | float) else focal_px
    matrix = np.array([[focals[0], 0, middle[0]], [0, focals[1], middle[1]], [0, 0, 1.0]])
    known, image = np.asarray(points_mm, float), np.asarray(seen, float)
    try:
        _, turns, moves, _ = cv2.solvePnPGeneric(
            known, image[:, None], matrix, None, flags=cv2.SOLVEPNP_IPPE
        )
    except cv2.error:
        turns, moves = (), ()
    best: CameraPose | None = None
    for turn, move in zip(turns, moves, strict=True):
        turn, move = cv2.solvePnPRefineLM(known, image[:, None], matrix, None, turn, move)
        pose = _pose(known, image, matrix, np.asarray(turn, float), np.asarray(move, float))
        if pose is not None and (best is None or pose.rms_px < best.rms_px):
            best = pose
    if best is None:
        raise PhotoError(
            field="corners",
            wanted="corners that a camera above the sheet can see",
            got=image.round(1).tolist(),
            cure="check the corners and the focal length",
        )
    return best


def _pose(
    known: Doubles, image: Doubles, matrix: Doubles, turn: Doubles, move: Doubles
) -> CameraPose | None:
    rotation = cv2.Rodrigues(turn)[0]
    position = (-rotation.T @ move).ravel()
    if position[2] <= 0 or not np.isfinite(position).all():
        return None
    seen = cv2.projectPoints(known, turn, move, matrix, None)[0].reshape(-1, 2)
    axis = rotation[2]  # the lens axis in the sheet's frame
    return CameraPose(
        position_mm=read_only(position),
        rotation=read_only(rotation),
        distance_mm=float(np.linalg.norm(position)),
        tilt_rad=float(math.acos(np.clip(-axis[2], -1.0, 1.0))),
        rms_px=float(np.sqrt(((seen - image) ** 2).sum(axis=1).mean())),
    )
