"""The marked pixel nearest to each pixel of a picture, exactly (distance transform).

After Felzenszwalb and Huttenlocher, "Distance transforms of sampled functions", Theory of
Computing 8, 2012: down the columns first, then along each row the lower envelope of parabolas.
Written out, since to import scipy's own takes three times as long as to work it out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers


@compiled
def nearest_marked(
    marked: Booleans, step_y: float, step_x: float, away: Doubles, row: Integers, col: Integers
) -> None:
    """Write how far the nearest marked pixel is, and where.

    Parameters
    ----------
    marked : (rows, cols) bool
        One pixel at least is marked.
    step_y, step_x : float
        Between the middles of pixels, down and across; any unit.
    away : (rows, cols) float
        Distance to the nearest marked pixel's middle, in that unit.
    row, col : (rows, cols) int64
        Where it is.
    """
    rows, cols = marked.shape
    for c in range(cols):
        last = -1
        for r in range(rows):
            if marked[r, c]:
                last = r
            row[r, c] = last
        last = -1
        for r in range(rows - 1, -1, -1):
            if marked[r, c]:
                last = r
            if last >= 0 and (row[r, c] < 0 or last - r < r - row[r, c]):
                row[r, c] = last
    place, start = np.empty(cols, np.int64), np.empty(cols + 1)
    height, above = np.empty(cols), np.empty(cols, np.int64)
    for r in range(rows):
        count = 0
        for c in range(cols):
            above[c] = row[r, c]
            if above[c] < 0:
                continue
            height[c] = ((r - above[c]) * step_y) ** 2 + (c * step_x) ** 2
            cut = -np.inf
            while count > 0:
                other = place[count - 1]
                cut = (height[c] - height[other]) / (2.0 * step_x * step_x * (c - other))
                if cut > start[count - 1]:
                    break
                count -= 1
                cut = -np.inf
            place[count], start[count] = c, cut
            count += 1
        k = 0
        for c in range(cols):
            while k + 1 < count and start[k + 1] < c:
                k += 1
            found = place[k]
            row[r, c], col[r, c] = above[found], found
            away[r, c] = np.hypot((r - above[found]) * step_y, (c - found) * step_x)
