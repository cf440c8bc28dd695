"""Points on lamps and cards that mirrors look at: what those count that are seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Singles


@compiled
def tally_points(
    facets: Singles, free: Booleans, first: int, hidden: float, by_points: Singles
) -> None:
    """Write the facets (n,) that a thing's m points stand for, those that are seen.

    Parameters
    ----------
    facets : (n, m) float32
    free : (n, k) bool
        Which of all points each spot sees; the thing's begin with the one of number `first`.
    hidden : float
        What a hidden one still counts.
    """
    least = np.float32(hidden)
    for i in range(facets.shape[0]):
        total = np.float32(0.0)
        for j in range(facets.shape[1]):
            total += facets[i, j] if free[i, first + j] else facets[i, j] * least
        by_points[i] = total


@compiled
def counted_points(
    weight: Singles, free: Booleans, first: int, hidden: float, counts: Singles, brings: Singles
) -> None:
    """Write what a thing's m points bring (3, n, k): their weight, if seen, times counts (n,).

    weight (3, n, m); the rest as `tally_points` has it.
    """
    least = np.float32(hidden)
    for c in range(3):
        for i in range(weight.shape[1]):
            for j in range(weight.shape[2]):
                kept = counts[i] if free[i, first + j] else counts[i] * least
                brings[c, i, first + j] = weight[c, i, j] * kept
