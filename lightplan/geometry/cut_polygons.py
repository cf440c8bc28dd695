"""Convex polygons seen from one point: cut by planes, and which part of an edge lies in one.

A polygon is the first `count` rows of an array of corners (v, 3) relative to the point it is
seen from. Where only its outline matters the corners may lie anywhere on their rays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_in_place

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

MOST_CORNERS = 56
THIN = 1e-9  # sine below which corners count as lying on a plane, edges as having no length


@compiled_in_place
def dot(a: Doubles, b: Doubles) -> float:
    """Return a . b of vectors (3,)."""
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@compiled_in_place
def copy(polygon: Doubles, count: int, other: Doubles) -> None:
    """Write the first `count` corners of a polygon to another."""
    for i in range(count):
        other[i, 0], other[i, 1], other[i, 2] = polygon[i, 0], polygon[i, 1], polygon[i, 2]


@compiled_in_place
def direction(polygon: Doubles, count: int, middle: Doubles) -> None:
    """Write the mean of the directions to the corners, of any length."""
    middle[0] = middle[1] = middle[2] = 0.0
    for i in range(count):
        x, y, z = polygon[i, 0], polygon[i, 1], polygon[i, 2]
        scale = 1 / np.sqrt(x * x + y * y + z * z)
        middle[0] += x * scale
        middle[1] += y * scale
        middle[2] += z * scale


@compiled_in_place
def cut(
    polygon: Doubles, count: int, x: float, y: float, z: float, least: float, kept: Doubles
) -> int:
    """Write to `kept` the part of a polygon whose corners p have (x, y, z) . p >= least.

    Returns
    -------
    int
        Number of corners left, 0 for none.
    """
    found = 0
    if count < 3:
        return 0
    last = count - 1
    before = x * polygon[last, 0] + y * polygon[last, 1] + z * polygon[last, 2] - least
    for i in range(count):
        here = x * polygon[i, 0] + y * polygon[i, 1] + z * polygon[i, 2] - least
        if (here >= 0) != (before >= 0) and found < MOST_CORNERS:
            share = before / (before - here)
            for c in range(3):
                kept[found, c] = polygon[last, c] + share * (polygon[i, c] - polygon[last, c])
            found += 1
        if here >= 0 and found < MOST_CORNERS:
            for c in range(3):
                kept[found, c] = polygon[i, c]
            found += 1
        last, before = i, here
    return found if found >= 3 else 0


@compiled_in_place
def edge_planes(polygon: Doubles, count: int, planes: Doubles) -> tuple[int, float]:
    """Write unit normals, pointing inwards, of the planes through the eye and each edge.

    Corners that look as one become one, in place.

    Returns
    -------
    int
        Number of corners left, 0 for a polygon that looks like a line.
    float
        1 where a x b of an edge from a to b points inwards, -1 where it points outwards.
    """
    mx, my, mz = 0.0, 0.0, 0.0  # any direction within will do: it only tells the turn
    for i in range(count):
        mx += polygon[i, 0]
        my += polygon[i, 1]
        mz += polygon[i, 2]
    left, turn = 0, 0.0
    for i in range(count):
        j = i + 1 if i + 1 < count else 0
        ax, ay, az = polygon[i, 0], polygon[i, 1], polygon[i, 2]
        bx, by, bz = polygon[j, 0], polygon[j, 1], polygon[j, 2]
        x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
        size = np.sqrt(x * x + y * y + z * z)
        both = (ax * ax + ay * ay + az * az) * (bx * bx + by * by + bz * bz)
        if size <= THIN * np.sqrt(both):
            continue
        turn += x * mx + y * my + z * mz
        planes[left, 0], planes[left, 1], planes[left, 2] = x / size, y / size, z / size
        polygon[left, 0], polygon[left, 1], polygon[left, 2] = ax, ay, az
        left += 1
    if left < 3:
        return 0, 1.0
    if turn < 0:
        for i in range(left):
            for c in range(3):
                planes[i, c] = -planes[i, c]
    return left, -1.0 if turn < 0 else 1.0


@compiled_in_place
def is_beside(polygon: Doubles, count: int, planes: Doubles, edges: int) -> bool:
    """Return whether a polygon lies wholly outside one of the planes of another's edges."""
    for e in range(edges):
        x, y, z = planes[e, 0], planes[e, 1], planes[e, 2]
        outside = True
        for i in range(count):
            px, py, pz = polygon[i, 0], polygon[i, 1], polygon[i, 2]
            along = x * px + y * py + z * pz
            if along > 0 and along * along > THIN * THIN * (px * px + py * py + pz * pz):
                outside = False
                break
        if outside:
            return True
    return False


@compiled_in_place
def is_within(polygon: Doubles, count: int, planes: Doubles, edges: int) -> bool:
    """Return whether a polygon lies wholly inside the planes of another's edges."""
    for e in range(edges):
        x, y, z = planes[e, 0], planes[e, 1], planes[e, 2]
        for i in range(count):
            if x * polygon[i, 0] + y * polygon[i, 1] + z * polygon[i, 2] < 0:
                return False
    return True


@compiled_in_place
def part_within(
    start: tuple[float, float, float],
    end: tuple[float, float, float],
    own: tuple[float, float, float],
    planes: Doubles,
    slot: int,
    edges: int,
    ties: bool,
) -> tuple[float, float]:
    """Return from where to where, as shares of its way, an edge lies inside a polygon.

    Parameters
    ----------
    start, end : (3,) float
        The edge's corners.
    own : (3,) float
        The normal that points into the edge's own polygon.
    planes, slot, edges : (s, v, 3) float, int and int
        The other polygon's are the first few in its slot.
    ties : bool
        Whether an edge that lies along one of the other polygon's counts as inside where
        both polygons lie on the same side of it; on opposite sides it never does.

    Returns
    -------
    (float, float)
        The second not greater than the first for an edge outside.
    """
    low, high = 0.0, 1.0
    ax, ay, az = start
    bx, by, bz = end
    near_a = THIN * THIN * (ax * ax + ay * ay + az * az)
    near_b = THIN * THIN * (bx * bx + by * by + bz * bz)
    for e in range(edges):
        x, y, z = planes[slot, e, 0], planes[slot, e, 1], planes[slot, e, 2]
        a, b = x * ax + y * ay + z * az, x * bx + y * by + z * bz
        if a * a <= near_a and b * b <= near_b:
            if ties and x * own[0] + y * own[1] + z * own[2] > 0:
                continue
            return 1.0, 0.0
        if a <= 0 and b <= 0:
            return 1.0, 0.0
        if a < 0:
            low = max(low, a / (a - b))
        elif b < 0:
            high = min(high, a / (a - b))
        if low >= high:
            return 1.0, 0.0
    return low, high
