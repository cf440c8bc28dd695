"""Where the lens was: its place off the plan from the sheet's corners, with its uncertainty."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.fit import Place

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.scene import Camera, Rig

CORNER_PX = 0.6  # standard deviation of a corner in a picture of `PICTURE_PX`
PICTURE_PX = 1000.0
FOCAL_SHARE = 0.03
MIDDLE_SHARE = 0.015  # how far the lens's axis may be off the picture's middle, of its long side
_LOOSE_MM = 1e4
_ROUNDS = 8


def lens_place(
    rig: Rig,
    corners: Doubles,
    shape: tuple[int, int],
    focal_px: float | None,
    *,
    focal_share: float = FOCAL_SHARE,
    middle_share: float = MIDDLE_SHARE,
) -> Place:
    """Return the lens's place off the plan.

    Parameters
    ----------
    rig : Rig
    corners : (4, 2) float
        (row, column) of the far left, far right, near right, near left corner, the lens's
        bending taken out.
    shape : (2,) int
        Rows and columns of the picture.
    focal_px : float or None
        As the file tells it; the rig's own where it is silent.
    focal_share, middle_share : float
        How far that and the lens's axis may be off, as shares of the focal length and of the
        picture's long side.
    """
    size = float(max(shape))
    planned = rig.camera
    focal = focal_px if focal_px is not None else _focal_of(planned, shape)
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    points = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    points = np.column_stack([points, np.zeros(4)])
    seen = np.asarray(corners, float)[:, ::-1] - [(shape[1] - 1) / 2, (shape[0] - 1) / 2]
    start = np.asarray(planned.placement.position_mm, float)
    right, up, forward = planned.axes()
    turn = np.stack([right, -up, forward])
    sigma = CORNER_PX * size / PICTURE_PX
    # unknowns: place, turn, focal length (share), middle of the picture
    priors = np.array([_LOOSE_MM] * 3 + [3.0] * 3 + [focal_share] + [middle_share * size] * 2)
    values = np.zeros(9)

    def away(x: Doubles) -> Doubles:
        facing = _turned_by(x[3:6]) @ turn
        there = _seen(points, start + x[:3], facing, focal * math.exp(x[6]))
        return np.asarray(there + x[7:] - seen).ravel()

    steps = np.array([0.5] * 3 + [1e-4] * 3 + [1e-4] + [0.1] * 2)
    normal = np.diag(1 / priors**2)
    for _ in range(_ROUNDS):
        now = away(values)
        slopes = np.stack(
            [(away(values + d) - now) / s for d, s in zip(np.diag(steps), steps, strict=True)], 1
        )
        normal = slopes.T @ slopes / sigma**2 + np.diag(1 / priors**2)
        pull = -slopes.T @ now / sigma**2 - values / priors**2
        values = values + np.linalg.solve(normal, pull)
    covariance = np.linalg.inv(normal)[:3, :3]
    return Place(values[:3], covariance + np.eye(3) * 1.0)


def is_explained(
    rig: Rig, corners: Doubles, shape: tuple[int, int], focal_px: float | None
) -> bool:
    """Whether a lens explains corners, given as to `lens_place`.

    One that would stand farther off its plan than that is from the sheet does not: those were not
    the sheet's corners, or not in their order.
    """
    place = lens_place(rig, corners, shape, focal_px)
    far = float(np.linalg.norm(rig.camera.placement.position_mm))
    return float(np.linalg.norm(place.offset_mm)) < far


def _focal_of(camera: Camera, shape: tuple[int, int]) -> float:
    across = max(camera.sensor_width_mm, camera.sensor_height_mm)
    return camera.focal_length_mm / across * max(shape)


def _turned_by(vector: Doubles) -> Doubles:
    """Return the rotation about a vector by its length (O. Rodrigues, 1840), (3, 3).

    >>> np.round(_turned_by(np.array([0.0, 0.0, np.pi / 2])) @ [1.0, 0.0, 0.0], 9).tolist()
    [0.0, 1.0, 0.0]
    """
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    across = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    half = np.sinc(angle / (2 * math.pi))  # sin(a / 2) / (a / 2)
    return np.asarray(np.eye(3) + np.sinc(angle / math.pi) * across + half**2 / 2 * across @ across)


def _seen(points: Doubles, place: Doubles, turn: Doubles, focal: float) -> Doubles:
    local = (points - place) @ turn.T
    depth = np.maximum(local[:, 2:], 1.0)
    return np.asarray(focal * local[:, :2] / depth)
