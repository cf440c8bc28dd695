"""Four seen sides to four corners, with the lens's bending of straight lines taken out."""

from __future__ import annotations

import math
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
        _, along, normal = principal(points)
        away = points - middle
        s = away @ along
        pull = _beside_line(((away / half) ** 2).sum(axis=1) * (away @ normal), s)
        bow = _beside_line(points @ normal, s)
        top += float(bow @ pull)
        bottom += float(pull @ pull)
    top -= bending * (noise_px / _USUAL_BENDING) ** 2
    return float(np.clip(top / bottom, -0.1, 0.1))


def principal(points: Doubles) -> tuple[Doubles, Doubles, Doubles]:
    """Return the middle of points (n, 2), and the directions of most and of least spread.

    >>> import numpy as np
    >>> middle, along, normal = principal(np.array([[0.0, 0.0], [1.0, 2.0], [2.0, 4.0]]))
    >>> bool(np.isclose(abs(along @ (1.0, 2.0)), 5**0.5)), bool(np.isclose(along @ normal, 0.0))
    (True, True)
    """
    middle = points.mean(axis=0)
    x, y = (points - middle).T
    turn = 0.5 * math.atan2(2.0 * float(x @ y), float(x @ x) - float(y @ y))
    c, s = math.cos(turn), math.sin(turn)
    return middle, np.array([c, s]), np.array([-s, c])


def _beside_line(values: Doubles, along: Doubles) -> Doubles:
    """Return what is left of values (n,) without the line through them over places (n,)."""
    s = along - along.mean()
    left: Doubles = values - values.mean() - s * ((s @ values) / max(float(s @ s), 1e-12))
    return left


def _fit_curve(points: Doubles, noise_px: float) -> tuple[Doubles, Doubles, Doubles, Doubles]:
    """Return (middle, along, normal, coefficients) of a parabola through points."""
    middle, along, normal = principal(points)
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
        gap, across = q - p, _cross(dp, dq)
        if across == 0.0:  # they run side by side
            return np.full(2, np.nan)
        s, t = s + _cross(gap, dq) / across, t + _cross(gap, dp) / across
    return _point(one, s)[0]


def _cross(a: Doubles, b: Doubles) -> float:
    return float(a[0] * b[1] - a[1] * b[0])


def _point(curve: tuple[Doubles, Doubles, Doubles, Doubles], s: float) -> tuple[Doubles, Doubles]:
    middle, along, normal, (a, b, c) = curve
    return middle + s * along + (a + b * s + c * s * s) * normal, along + (b + 2 * c * s) * normal
