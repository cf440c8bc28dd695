"""Four seen sides to four corners, with the lens's bending of straight lines taken out."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles

_USUAL_BENDING = 0.02  # how far lenses usually depart from 0; from memory
_USUAL_BOW = 0.004  # bow of a side that is not the lens's, of its length; from memory


def straighten(points: Doubles, bending: float, shape: tuple[int, int]) -> Doubles:
    """Return where a lens without distortion would show points (x, y).

    The division model of one parameter: the distance r from the picture's middle, of
    half its diagonal, becomes r / (1 + bending r^2). Source: A. Fitzgibbon,
    Simultaneous linear estimation of multiple view geometry and lens distortion
    (CVPR 2001). Positive values undo pincushion, negative ones barrel distortion.
    """
    middle, half = _frame(shape)
    away = (np.asarray(points, float) - middle) / half
    reach = (away**2).sum(axis=-1, keepdims=True)
    straight: Doubles = middle + half * away / (1 + bending * reach)
    return straight


def bend(points: Doubles, bending: float, shape: tuple[int, int]) -> Doubles:
    """Undo `straighten`.

    >>> import numpy as np
    >>> p = np.array([[10.0, 20.0], [600.0, 300.0]])
    >>> bool(np.allclose(bend(straighten(p, 0.03, (400, 640)), 0.03, (400, 640)), p))
    True
    """
    middle, half = _frame(shape)
    away = (np.asarray(points, float) - middle) / half
    reach = (away**2).sum(axis=-1, keepdims=True)
    root = np.sqrt(np.maximum(1 - 4 * bending * reach, 0.0))
    bent: Doubles = middle + half * away * 2 / (1 + root)
    return bent


def fit_outline(
    sides: Sequence[Doubles], shape: tuple[int, int], *, noise_px: float = 0.3
) -> tuple[Doubles, float]:
    """Return the corners (4, 2) as x, y where the sides meet, and the lens's bending.

    Parameters
    ----------
    sides : 4 of (n, 2) float
        Seen points of the far, right, near and left side.
    shape : (2,) int
        Rows and columns of the picture.
    noise_px : float
        Standard deviation of a point.

    Notes
    -----
    The bending is the one that makes all four sides straightest, held towards 0 as
    far as the points cannot tell. What bow is then left (a curled sheet) is a parabola
    for each side.
    """
    bending = 0.0
    for _ in range(2):
        bending += _bending_step(sides, bending, shape, noise_px)
    straight = [straighten(side, bending, shape) for side in sides]
    curves = [_fit_curve(side, noise_px) for side in straight]
    corners = np.array([_meet(curves[i - 1], curves[i]) for i in range(4)])
    return bend(corners, bending, shape), float(bending)


def _frame(shape: tuple[int, int]) -> tuple[Doubles, float]:
    rows, cols = shape
    return np.array([(cols - 1) / 2, (rows - 1) / 2]), float(np.hypot(rows, cols)) / 2


def _bending_step(
    sides: Sequence[Doubles], bending: float, shape: tuple[int, int], noise_px: float
) -> float:
    """Return the least-squares change of the bending for straight sides."""
    middle, half = _frame(shape)
    top, bottom = 0.0, (noise_px / _USUAL_BENDING) ** 2
    for side in sides:
        points = straighten(side, bending, shape)
        normal, along = _principal(points)
        away = (points - middle) / half
        pull = (away**2).sum(axis=1) * ((points - middle) @ normal)
        basis = np.stack([np.ones(len(points)), along - along.mean()], axis=1)
        both = np.stack([points @ normal, pull], axis=1)
        left = both - basis @ np.linalg.lstsq(basis, both, rcond=None)[0]
        top += float(left[:, 0] @ left[:, 1])
        bottom += float(left[:, 1] @ left[:, 1])
    top -= bending * (noise_px / _USUAL_BENDING) ** 2
    return float(np.clip(top / bottom, -0.1, 0.1))


def _principal(points: Doubles) -> tuple[Doubles, Doubles]:
    """Return the normal of the line through points and their places along it."""
    middle = points.mean(axis=0)
    axes = np.linalg.svd(points - middle, full_matrices=False)[2]
    return axes[1], (points - middle) @ axes[0]


def _fit_curve(points: Doubles, noise_px: float) -> tuple[Doubles, Doubles, Doubles, Doubles]:
    """Return (middle, along, normal, coefficients) of a parabola through points."""
    middle = points.mean(axis=0)
    along, normal = np.linalg.svd(points - middle, full_matrices=False)[2]
    s = (points - middle) @ along
    length = max(float(np.ptp(s)), 1.0)
    terms = np.stack([np.ones_like(s), s / length, (s / length) ** 2 - 1 / 12], axis=1)
    # A bow of usual size is allowed; the points must speak for a larger one.
    pull = noise_px / (4 * _USUAL_BOW * length)
    system = np.vstack([terms, [[0, 0, pull]]])
    aim = np.concatenate([(points - middle) @ normal, [0.0]])
    a, b, c = np.linalg.lstsq(system, aim, rcond=None)[0]
    return middle, along, normal, np.array([a - c / 12, b / length, c / length**2])


def _meet(
    one: tuple[Doubles, Doubles, Doubles, Doubles], other: tuple[Doubles, Doubles, Doubles, Doubles]
) -> Doubles:
    """Return the point where two parabolas that are nearly lines meet."""
    s = t = 0.0
    for _ in range(5):
        p, dp = _point(one, s)
        q, dq = _point(other, t)
        ds, dt = np.linalg.solve(np.stack([dp, -dq], axis=1), q - p)
        s, t = s + float(ds), t + float(dt)
    return _point(one, s)[0]


def _point(curve: tuple[Doubles, Doubles, Doubles, Doubles], s: float) -> tuple[Doubles, Doubles]:
    middle, along, normal, (a, b, c) = curve
    return middle + s * along + (a + b * s + c * s * s) * normal, along + (b + 2 * c * s) * normal
