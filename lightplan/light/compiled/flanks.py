"""The outline of stamped foil on the pixels of its artwork: how far it is, and which way it faces.

Where flanks are looked for, `scipy.ndimage` and `scipy.sparse` would do; to load these two takes
longer than what is asked of them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_sums

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles


@compiled
def edges(art: Doubles, half: float, edge: Booleans) -> bool:
    """Set edge (rows, cols) where a shape ends within a pixel or beside it; say if there are any.

    Within: its share of foil is neither 0 nor 1. Beside: it is foil for `half` or more, and one
    of its four neighbours is not. Beyond the artwork all goes on as it is.
    """
    rows, cols = art.shape
    some = False
    for i in range(rows):
        for j in range(cols):
            a = art[i, j]
            found = 0.0 < a < 1.0
            if not found and a >= half:
                found = (
                    (i > 0 and art[i - 1, j] < half)
                    or (i + 1 < rows and art[i + 1, j] < half)
                    or (j > 0 and art[i, j - 1] < half)
                    or (j + 1 < cols and art[i, j + 1] < half)
                )
            edge[i, j] = found
            some = some or found
    return some


@compiled
def inwards(art: Doubles, edge: Booleans, half: float, down: float, across: float) -> Doubles:
    """Return how far each pixel (rows, cols) lies inside its shape, below 0 outside, mm.

    That is the distance to the nearest pixel on an edge, and how far inside its middle is. The
    nearest one is found exactly, first in each column and then along the rows, where the squared
    distances are parabolas (P. Felzenszwalb and D. Huttenlocher, Theory of Computing 8, 2012).

    Parameters
    ----------
    down, across : float
        Size of a pixel, mm.
    """
    rows, cols = art.shape
    found = np.empty((rows, cols))
    nearest = _in_columns(edge)
    size, ratio = math.sqrt(down * across), (down / across) ** 2
    hull, begins = np.empty(cols, np.int64), np.empty(cols + 1)
    height = np.empty(cols)
    for i in range(rows):
        top = -1
        for j in range(cols):
            if nearest[i, j] < 0:
                continue
            height[j] = ratio * (nearest[i, j] - i) ** 2  # in pixels across, squared
            start = -np.inf
            while top >= 0:
                k = hull[top]
                start = 0.5 * ((height[j] - height[k]) / (j - k) + j + k)
                if start > begins[top]:
                    break
                top -= 1
                start = -np.inf
            top += 1
            hull[top], begins[top] = j, start
        begins[top + 1] = np.inf
        k = 0
        for j in range(cols):
            while begins[k + 1] < j:
                k += 1
            at = hull[k]
            away = across * math.sqrt(height[at] + (j - at) ** 2)
            inside = (art[nearest[i, at], at] - half) * size
            found[i, j] = inside + (away if art[i, j] >= half else -away)
    return found


@compiled
def _in_columns(edge: Booleans) -> Integers:
    """Return the row of the nearest edge in the same column (rows, cols), -1 for none."""
    rows, cols = edge.shape
    nearest = np.full((rows, cols), -1)
    last = np.full(cols, -1)
    for i in range(rows):
        for j in range(cols):
            if edge[i, j]:
                last[j] = i
            nearest[i, j] = last[j]
    last[:] = -1
    for back in range(rows):
        i = rows - 1 - back
        for j in range(cols):
            if edge[i, j]:
                last[j] = i
            if last[j] >= 0 and (nearest[i, j] < 0 or last[j] - i < i - nearest[i, j]):
                nearest[i, j] = last[j]
    return nearest


@compiled_sums
def smoothed(values: Doubles, taps: Doubles, mirrored: bool, found: Doubles) -> None:
    """Write values (rows, cols) averaged along their columns by taps (2 r + 1,).

    Beyond the border goes on the last pixel, or, `mirrored`, what lies inside.
    """
    rows, cols = values.shape
    reach = taps.shape[0] // 2
    for i in range(rows):
        for j in range(cols):
            found[i, j] = 0.0
        for t in range(taps.shape[0]):
            at = i + t - reach
            if mirrored:
                at = at % (2 * rows)
                at = at if at < rows else 2 * rows - 1 - at
            at = min(max(at, 0), rows - 1)
            for j in range(cols):
                found[i, j] += taps[t] * values[at, j]


@compiled
def flank_nodes(
    turn: float, row: float, col: float, facings: int, rows: int, cols: int, node: Integers,
    weight: Doubles,
) -> None:  # fmt: skip
    """Write the eight flanks of a rim (facings, rows, cols) round a place, and what each counts."""
    i, r, c = int(turn), min(int(row), rows - 2), min(int(col), cols - 2)
    u, v, w = turn - i, row - r, col - c
    for k in range(8):
        a, b, d = k >> 2, (k >> 1) & 1, k & 1
        node[k] = ((((i + a) % facings) * rows + r + b) * cols) + c + d
        weight[k] = (u if a else 1 - u) * (v if b else 1 - v) * (w if d else 1 - w)


@compiled
def read_rim(turn: Doubles, row: Doubles, col: Doubles, rim: Singles, found: Singles) -> None:
    """Write what flanks (n, 3) show, read from a rim (facings, rows, cols, 3)."""
    facings, rows, cols, _ = rim.shape
    flat = rim.reshape(facings * rows * cols, 3)
    node, weight = np.empty(8, np.int64), np.empty(8)
    for i in range(turn.shape[0]):
        flank_nodes(turn[i], row[i], col[i], facings, rows, cols, node, weight)
        for c in range(3):
            total = 0.0
            for k in range(8):
                total += weight[k] * flat[node[k], c]
            found[i, c] = total


@compiled
def gathered(
    pixel: Integers,
    turn: Doubles,
    row: Doubles,
    col: Doubles,
    share: Doubles,
    points: Doubles,
    shape: tuple[int, int, int],
) -> tuple[Integers, Integers, Singles]:
    """Return how much of each flank of a rim pixels show: rows of a sparse matrix.

    Parameters
    ----------
    pixel, turn, row, col, share : (n,)
        The pixel that each place of the outline is nearest to, where in the rim it is read, and
        its share of flank.
    points : (p,) float
        Places of the sheet, outline or not, that are nearest to each pixel.
    shape : (int, int, int)
        Facings, rows and columns of the rim.

    Returns
    -------
    first : (p + 1,) int
    node, weight : (m,) int and float32
        Those of pixel i are the ones from `first[i]` to `first[i + 1]`.
    """
    facings, rows, cols = shape
    size = points.shape[0]
    begin = np.zeros(size + 1, np.int64)
    for i in range(pixel.shape[0]):
        begin[pixel[i] + 1] += 1
    for p in range(size):
        begin[p + 1] += begin[p]
    order, place = np.empty(pixel.shape[0], np.int64), begin[:-1].copy()
    for i in range(pixel.shape[0]):
        order[place[pixel[i]]] = i
        place[pixel[i]] += 1
    total, listed = np.zeros(facings * rows * cols), np.empty(facings * rows * cols, np.int64)
    first = np.zeros(size + 1, np.int64)
    nodes = np.empty(8 * pixel.shape[0], np.int64)
    weights = np.empty(8 * pixel.shape[0], np.float32)
    node, weight = np.empty(8, np.int64), np.empty(8)
    for p in range(size):
        some, to = 0, first[p]
        for at in range(begin[p], begin[p + 1]):
            i = order[at]
            flank_nodes(turn[i], row[i], col[i], facings, rows, cols, node, weight)
            for k in range(8):
                if total[node[k]] == 0.0 and weight[k] * share[i] > 0.0:
                    listed[some] = node[k]
                    some += 1
                total[node[k]] += weight[k] * share[i]
        for k in range(some):
            nodes[to + k], weights[to + k] = listed[k], total[listed[k]] / points[p]
            total[listed[k]] = 0.0
        first[p + 1] = to + some
    return first, nodes[: first[size]].copy(), weights[: first[size]].copy()


@compiled_sums
def glow(first: Integers, node: Integers, weight: Singles, shown: Singles, found: Singles) -> None:
    """Write what flanks bring to pixels (p, 3), as `gathered` has them; shown (nodes, 3)."""
    for p in range(found.shape[0]):
        red, green, blue = np.float32(0.0), np.float32(0.0), np.float32(0.0)
        for k in range(first[p], first[p + 1]):
            red += weight[k] * shown[node[k], 0]
            green += weight[k] * shown[node[k], 1]
            blue += weight[k] * shown[node[k], 2]
        found[p, 0], found[p, 1], found[p, 2] = red, green, blue
