"""What points get from cells, and mirrors of points that they look at: weights times luminances.

And of the rays of bundles, what those count that meet nothing.

Matrices of hundreds of rows times a few columns: linear algebra would share them among threads,
which wait for each other longer than either works where a core is busy.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_sums

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


@compiled_sums
def by_channel(factors: Singles, values: Singles, received: Singles) -> None:
    """Write what n points receive (n, k, 3) of c cells.

    factors (n, c); values (k, 3, c) are the cells' luminances under k lights.
    """
    for i in range(factors.shape[0]):
        for k in range(values.shape[0]):
            red, green, blue = np.float32(0.0), np.float32(0.0), np.float32(0.0)
            for j in range(factors.shape[1]):
                share = factors[i, j]
                red += share * values[k, 0, j]
                green += share * values[k, 1, j]
                blue += share * values[k, 2, j]
            received[i, k, 0] = red
            received[i, k, 1] = green
            received[i, k, 2] = blue


@compiled_sums
def of_points(weight: Singles, shown: Singles, total: Singles) -> None:
    """Add to n mirrors' luminance (n, k, 3) what m points show them under k lights.

    weight (3, n, m); shown (k, 3, m).
    """
    for i in range(weight.shape[1]):
        for k in range(shown.shape[0]):
            for c in range(3):
                added = np.float32(0.0)
                for j in range(weight.shape[2]):
                    added += weight[c, i, j] * shown[k, c, j]
                total[i, k, c] += added


@compiled_sums
def left_over(surface: Integers, carry: Singles, total: Doubles) -> None:
    """Write what those of r rays of each of n bundles carry that meet nothing, (n, 3).

    surface (n, r), below 0 for nothing; carry (3, n, r).
    """
    for i in range(surface.shape[0]):
        red, green, blue = 0.0, 0.0, 0.0
        for r in range(surface.shape[1]):
            free = surface[i, r] < 0
            red += carry[0, i, r] if free else 0.0
            green += carry[1, i, r] if free else 0.0
            blue += carry[2, i, r] if free else 0.0
        total[i, 0], total[i, 1], total[i, 2] = red, green, blue
