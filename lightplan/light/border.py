"""What is left to be seen of a polygon behind others, as a sum over the edges of what is left.

Lambert's sum, of matte points as of lobes, asks for nothing but the edges of a region. Those of
a polygon behind others are its own, where none of the others covers them, and those of the
others, the other way round, where they cross it and no third covers them. Edges that lie on each
other by chance count twice with opposite signs, or once.

Polygons stand in slots: the one looked at in 0, the k-th before it in 2 k + 1, and in 2 k + 2 the
opening in that, through which it covers nothing.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_in_place
from lightplan.geometry.cut_polygons import part_within
from lightplan.light.lobe_area import lobe_edge, matte_edge

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers


@compiled_in_place
def seen_within(
    polygons: Doubles,
    planes: Doubles,
    counts: Integers,
    turns: Doubles,
    inner: Booleans,
    before: int,
    view: Doubles,
    ax: float,
    ay: float,
    gone: Doubles,
    halving: Doubles,
) -> float:
    """Return how much of a lobe, or as matte (ax = 0), is filled by what is left of a polygon.

    Parameters
    ----------
    polygons, planes : (slots, v, 3) float
        Corners, and the inward normals of the planes through their edges.
    counts, turns : (slots,) int and float
        Corners of each, 0 for none, and which way they run (`edge_planes`).
    inner : (slots,) bool
        Which lie wholly inside the one looked at.
    before : int
        Number of polygons before it.
    view : (3,) float
        Unit direction to the viewer.
    gone : (slots, 2) float
    halving : (MOST_HALVINGS + 2, 5) float
        Room to work in.
    """
    # not as literals, for each of which numba would compile `part_within` once more
    first_slot, yes = int(np.int64(0)), before >= 0
    total = 0.0
    for slot in range(2 * before + 1):
        part = 0.0
        is_opening = slot > 0 and slot % 2 == 0
        count = counts[slot]
        done = -1  # the corner at which the last piece ended
        for i in range(count):
            j = i + 1 if i + 1 < count else 0
            a = polygons[slot, i, 0], polygons[slot, i, 1], polygons[slot, i, 2]
            b = polygons[slot, j, 0], polygons[slot, j, 1], polygons[slot, j, 2]
            own = planes[slot, i, 0], planes[slot, i, 1], planes[slot, i, 2]
            low, high = 0.0, 1.0
            if slot > 0 and not inner[slot]:
                low, high = part_within(a, b, own, planes, first_slot, counts[0], yes)
            if is_opening and low < high:
                first, last = part_within(a, b, own, planes, slot - 1, counts[slot - 1], yes)
                low, high = max(low, first), min(high, last)
            if low >= high:
                continue
            number = 0
            if before:
                number = _covered(a, b, own, planes, counts, inner, before, slot, gone)
                _sort(gone, number)
            at = low
            for k in range(number + 1):
                until = high if k == number else min(high, gone[k, 0])
                if until > at:
                    if ax > 0:
                        goes_on = done == i and at == 0.0
                        part += lobe_edge(a, b, at, until, view, ax, ay, halving, goes_on)
                        done = j if until == 1.0 else -1
                    else:
                        part += matte_edge(a, b, at, until)
                if k < number:
                    at = max(at, gone[k, 1])
        part *= turns[slot]
        total += -part if slot % 2 == 1 else part
    return max(total, 0.0)


@compiled_in_place
def _covered(
    a: tuple[float, float, float],
    b: tuple[float, float, float],
    own: tuple[float, float, float],
    planes: Doubles,
    counts: Integers,
    inner: Booleans,
    before: int,
    of: int,
    gone: Doubles,
) -> int:
    """Write which parts of an edge others cover, and return how many there are.

    `of` is the slot of the edge's polygon. What lies inside that covers none of its edges.
    """
    number, no = 0, before < 0  # as above
    owner, is_opening = (of - 1) // 2, of > 0 and of % 2 == 0
    for k in range(before):
        slot, opening = 2 * k + 1, 2 * k + 2
        if of == 0 and inner[slot]:
            continue
        if k == owner:
            if not is_opening and counts[opening]:
                first, last = part_within(a, b, own, planes, opening, counts[opening], no)
                if first < last:
                    gone[number, 0], gone[number, 1] = first, last
                    number += 1
            continue
        low, high = part_within(a, b, own, planes, slot, counts[slot], k < owner)
        if low >= high:
            continue
        first, last = high, high
        if counts[opening]:
            first, last = part_within(a, b, own, planes, opening, counts[opening], no)
            if first >= last:
                first, last = high, high
        if low < first:
            gone[number, 0], gone[number, 1] = low, min(first, high)
            number += 1
        if last < high:
            gone[number, 0], gone[number, 1] = max(last, low), high
            number += 1
    return number


@compiled_in_place
def _sort(gone: Doubles, number: int) -> None:
    """Sort the first few parts by where they begin."""
    for i in range(1, number):
        first, last = gone[i, 0], gone[i, 1]
        k = i
        while k > 0 and gone[k - 1, 0] > first:
            gone[k, 0], gone[k, 1] = gone[k - 1, 0], gone[k - 1, 1]
            k -= 1
        gone[k, 0], gone[k, 1] = first, last
