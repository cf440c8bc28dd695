"""A Gaussian blur of a picture that was padded: across the rows, then down the columns."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


@compiled
def soften(padded: Doubles, weight: Doubles, soft: Doubles) -> None:
    """Write a picture (rows, cols) under a blur of even weights (2 n + 1,).

    Parameters
    ----------
    padded : (rows + 2 n, cols + 2 n) float
        The picture, continued by n pixels on every side.
    """
    rows, cols = soft.shape
    taps = weight.shape[0]
    across = np.empty((rows + taps - 1, cols))
    for r in range(rows + taps - 1):
        line = across[r]
        for c in range(cols):
            line[c] = 0.0
        for k in range(taps):
            given = padded[r, k : k + cols]
            for c in range(cols):  # many in one step
                line[c] += weight[k] * given[c]
    for r in range(rows):
        for c in range(cols):
            soft[r, c] = 0.0
        for k in range(taps):
            for c in range(cols):
                soft[r, c] += weight[k] * across[r + k, c]
