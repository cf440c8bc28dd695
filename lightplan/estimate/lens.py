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
MOST_MISFIT = 0.01
"""Of the picture's long side, by which corners may be off that a lens explains. Ours: corners of
`tests/reference/slipped` are off by 0.0003 at the most, a bent sheet's by some times that."""
FARTHEST = 10.0
"""How many times as far from the sheet as planned a lens may stand. Ours: the sheet is a tenth as
long in the picture there."""
_LOOSE_MM = 1e4


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
    values, covariance, _ = _fitted(
        rig, corners, shape, focal_px, focal_share=focal_share, middle_share=middle_share
    )
    return Place(values[:3], covariance[:3, :3] + np.eye(3) * 1.0)


def is_explained(
    rig: Rig, corners: Doubles, shape: tuple[int, int], focal_px: float | None
) -> bool:
    """Whether a lens explains corners, given as to `lens_place`.

    One that fits them badly, would stand many times as far from the sheet as planned, or below the
    table does not: those were not the sheet's corners, or not in their order.
    """
    values, _, misfit_px = _fitted(
        rig, corners, shape, focal_px, focal_share=FOCAL_SHARE, middle_share=MIDDLE_SHARE
    )
    planned = np.asarray(rig.camera.placement.position_mm, float)
    place = planned + values[:3]
    far = float(np.linalg.norm(place))
    can_be = place[2] > 0.0 and far < FARTHEST * float(np.linalg.norm(planned))
    return bool(can_be and misfit_px <= MOST_MISFIT * max(shape))


def _fitted(
    rig: Rig,
    corners: Doubles,
    shape: tuple[int, int],
    focal_px: float | None,
    *,
    focal_share: float,
    middle_share: float,
) -> tuple[Doubles, Doubles, float]:
    """Return a lens's place, turn, focal length and middle off the plan, (9,), (9, 9), in pixels.

    With their covariance, and by how much corners are off in the root mean square. Steps that would
    make it worse are shortened (MINPACK's `lmder`): where a sheet is seen straight on and not
    aslant as planned, or from half as far, whole ones led to lenses kilometres away.
    """
    from scipy.optimize import least_squares  # not loaded before it is needed

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

    def away(x: Doubles) -> Doubles:
        facing = _turned_by(x[3:6]) @ turn
        there = _seen(points, start + x[:3], facing, focal * math.exp(x[6]))
        off = there + x[7:] - seen
        return np.concatenate([off.ravel() / sigma, x / priors])

    steps = np.array([0.5] * 3 + [1e-4] * 3 + [1e-4] + [0.1] * 2)

    def slopes(x: Doubles) -> Doubles:
        ways = zip(np.diag(steps), steps, strict=True)
        return np.stack([(away(x + d) - away(x - d)) / (2 * s) for d, s in ways], axis=1)

    found = least_squares(away, np.zeros(9), jac=slopes, method="lm", x_scale="jac")
    off = found.fun[:8] * sigma
    misfit_px = math.sqrt(2.0 * float(np.mean(off**2)))  # of a corner's two coordinates
    return found.x, np.linalg.inv(found.jac.T @ found.jac), misfit_px


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
