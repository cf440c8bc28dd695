"""A few descending steps in a box, for a value that is cheap but has corners."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.arrays import Doubles

_ROUNDS = 6
_STEP = 0.02
"""Of the difference quotients, as a share of the box: wide, to look past small corners."""


def descended(
    values: Callable[[Sequence[Doubles]], list[float]],
    start: Doubles,
    box: Sequence[tuple[float, float]],
) -> Doubles:
    """Return the lowest point that a few descending steps from the start look at."""
    from scipy.optimize import minimize  # slow to import

    low, high = np.array(box).T
    live = high > low
    if not live.any():
        return start
    looked: dict[bytes, tuple[float, Doubles]] = {}

    def at(shares: Sequence[Doubles]) -> list[float]:
        new = {s.tobytes(): s for s in shares if s.tobytes() not in looked}
        points = []
        for share in new.values():
            point = start.copy()
            point[live] = low[live] + np.clip(share, 0.0, 1.0) * (high - low)[live]
            points.append(point)
        looked.update(zip(new, zip(values(points), points, strict=True), strict=True))
        return [looked[s.tobytes()][0] for s in shares]

    first = ((start - low) / np.maximum(high - low, 1e-12))[live]
    # the method's first move is as long as the slope: so scaled, it is as long as the box
    scale = 1.0 / max(float(np.abs(_slope(at, first)).max()), 1e-9)
    minimize(
        lambda share: scale * at([share])[0],
        first,
        method="SLSQP",
        jac=lambda share: scale * _slope(at, share),
        bounds=[(0.0, 1.0)] * len(first),
        options={"maxiter": _ROUNDS, "ftol": 3e-3 * min(scale, 1.0)},
    )
    return min(looked.values(), key=lambda pair: pair[0])[1]


def _slope(at: Callable[[Sequence[Doubles]], list[float]], share: Doubles) -> Doubles:
    """Return difference quotients in the unit box, taken inwards at the bounds."""
    steps = np.where(share + _STEP <= 1, _STEP, -_STEP)
    here, *others = at([share, *(share + np.diag(steps))])
    return (np.array(others) - here) / steps
