"""What the flanks of stamped foil show, read from a rim, and what they bring to pixels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_sums

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


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
