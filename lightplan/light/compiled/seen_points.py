"""Points on lamps and cards that mirrors look at: what those count that are seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_sums

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


@compiled_sums
def shown_by_points(
    weight: Singles,
    free: Booleans,
    first: int,
    hidden: float,
    counts: Singles,
    shown: Singles,
    total: Singles,
) -> None:
    """Add to n mirrors' luminance (n, k, 3) what a thing's m points show them under k lights.

    Parameters
    ----------
    weight : (3, n, m) float32
    free, first, hidden
        As in `tally_points`.
    counts : (n,) float32
        What all points of the thing count to each.
    shown : (k, 3, p) float32
        What all p points show.
    """
    least, m = np.float32(hidden), weight.shape[2]
    kept = np.empty(m, np.float32)
    for i in range(weight.shape[1]):
        if counts[i] == 0:
            continue
        seen = free[i, first : first + m]
        for j in range(m):
            kept[j] = counts[i] if seen[j] else counts[i] * least
        for k in range(shown.shape[0]):
            for c in range(3):
                brings, light = weight[c, i], shown[k, c, first : first + m]
                added = np.float32(0.0)
                for j in range(m):
                    added += brings[j] * kept[j] * light[j]
                total[i, k, c] += added
