"""Nelder and Mead's simplex in the unit box, with steps that suit many dimensions.

J. A. Nelder and R. Mead, Computer Journal 7 (1965); coefficients that depend on the
dimension after F. Gao and L. Han, Computational Optimization and Applications 51 (2012).
Points are clipped into the box.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lightplan.arrays import Doubles

Function = Callable[[Doubles], float]


def simplex(
    function: Function, start: Doubles, *, size: float, tolerance: float, most: int | None = None
) -> tuple[Doubles, float]:
    """Return the best point and value reached from `start`.

    Parameters
    ----------
    function : callable
        Of a point (n,) in the unit box; it may raise to end the search.
    size : float
        Edge of the first simplex.
    tolerance : float
        Ends when the corners' values differ by less and the corners are close.
    most : int or None
        Most evaluations; None: 200 for each dimension.
    """
    n = start.size
    most = 200 * n if most is None else most
    corners = [np.clip(start, 0, 1)]
    for i in range(n):
        corner = corners[0].copy()
        corner[i] += size if corner[i] + size <= 1 else -size
        corners.append(np.clip(corner, 0, 1))
    values = [function(c) for c in corners]
    used = n + 1
    while used < most:
        order = np.argsort(values, kind="stable")
        corners, values = [corners[i] for i in order], [values[i] for i in order]
        wide = max(float(np.abs(c - corners[0]).max()) for c in corners[1:])
        if values[-1] - values[0] < tolerance and wide < 0.02:
            break
        used += _step(function, corners, values)
    best = int(np.argmin(values))
    return corners[best], values[best]


def _step(function: Function, corners: list[Doubles], values: list[float]) -> int:
    """Move the worst corner, or shrink; return the evaluations used."""
    n = max(len(corners) - 1, 2)
    expand, contract, shrink = 1 + 2 / n, 0.75 - 1 / (2 * n), 1 - 1 / n
    middle = np.mean(corners[:-1], axis=0)

    def along(share: float) -> tuple[Doubles, float]:
        point = np.asarray(np.clip(middle + share * (middle - corners[-1]), 0, 1))
        return point, function(point)

    point, value = along(1.0)
    used = 1
    if value < values[0]:
        further, better = along(expand)
        used = 2
        if better < value:
            point, value = further, better
    elif value >= values[-2]:
        outside = value < values[-1]
        inner, inner_value = along(contract if outside else -contract)
        used = 2
        if inner_value >= min(value, values[-1]):
            return used + _shrink(function, corners, values, shrink)
        point, value = inner, inner_value
    corners[-1], values[-1] = point, value
    return used


def _shrink(function: Function, corners: list[Doubles], values: list[float], share: float) -> int:
    for i in range(1, len(corners)):
        corners[i] = corners[0] + share * (corners[i] - corners[0])
        values[i] = function(corners[i])
    return len(corners) - 1
