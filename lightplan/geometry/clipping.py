"""Convex polygons seen from one point: cut by planes, and what one leaves of another.

A polygon is the first `count` rows of an array of corners (v, 3) relative to the point it is
seen from. Where only its outline matters the corners may lie anywhere on their rays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers

MOST_CORNERS = 56
MOST_PIECES = 96
THIN = 1e-9  # sine below which corners count as lying on a plane, edges as having no length


@compiled
def dot(a: Doubles, b: Doubles) -> float:
    """Return a . b of vectors (3,)."""
    return float(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


@compiled
def copy(polygon: Doubles, count: int, other: Doubles) -> None:
    """Write the first `count` corners of a polygon to another."""
    for i in range(count):
        other[i, 0], other[i, 1], other[i, 2] = polygon[i, 0], polygon[i, 1], polygon[i, 2]


@compiled
def direction(polygon: Doubles, count: int, middle: Doubles) -> None:
    """Write the mean of the directions to the corners, of any length."""
    middle[0] = middle[1] = middle[2] = 0.0
    for i in range(count):
        size = np.sqrt(dot(polygon[i], polygon[i]))
        for c in range(3):
            middle[c] += polygon[i, c] / size


@compiled
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


@compiled
def edge_planes(polygon: Doubles, count: int, planes: Doubles) -> int:
    """Write unit normals, pointing inwards, of the planes through the eye and each edge."""
    middle = planes[MOST_CORNERS - 1]
    direction(polygon, count, middle)
    found = 0
    for i in range(count):
        a, b = polygon[i], polygon[(i + 1) % count]
        x, y, z = a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
        size = np.sqrt(x * x + y * y + z * z)
        both = np.sqrt(dot(a, a) * dot(b, b))
        if size <= THIN * both:
            continue
        sign = 1.0 if x * middle[0] + y * middle[1] + z * middle[2] >= 0 else -1.0
        planes[found, 0], planes[found, 1], planes[found, 2] = (
            sign * x / size,
            sign * y / size,
            sign * z / size,
        )
        found += 1
    return found


@compiled
def is_beside(polygon: Doubles, count: int, planes: Doubles, edges: int) -> bool:
    """Return whether a polygon lies wholly outside one of the planes of another's edges."""
    for e in range(edges):
        outside = True
        for i in range(count):
            along = dot(planes[e], polygon[i])
            if along > 0 and along * along > THIN * THIN * dot(polygon[i], polygon[i]):
                outside = False
                break
        if outside:
            return True
    return False


@compiled
def common(
    polygon: Doubles, count: int, planes: Doubles, edges: int, kept: Doubles, spare: Doubles
) -> int:
    """Write to `kept` what of a polygon lies inside all planes of another's edges."""
    copy(polygon, count, kept)
    for e in range(edges):
        copy(kept, count, spare)
        count = cut(spare, count, planes[e, 0], planes[e, 1], planes[e, 2], 0.0, kept)
        if count == 0:
            return 0
    return count


@compiled
def without(
    pieces: Doubles,
    counts: Integers,
    number: int,
    planes: Doubles,
    edges: int,
    hole: Doubles,
    hole_edges: int,
    work: Doubles,
) -> int:
    """Take from every piece what lies inside the planes of a polygon's edges, in place.

    Parameters
    ----------
    pieces, counts : (MOST_PIECES, MOST_CORNERS, 3) float and (MOST_PIECES,) int
        The first `number` of them; more may come.
    hole, hole_edges : (MOST_CORNERS, 3) float and int
        The planes of an opening, through which pieces stay to be seen.
    work : (3, MOST_CORNERS, 3) float
        Room to work in.

    Returns
    -------
    int
        Number of pieces, or -1 where there is no room for them.
    """
    old = number
    place = 0
    for index in range(old):
        if is_beside(pieces[index], counts[index], planes, edges):
            if place != index:
                copy(pieces[index], counts[index], pieces[place])
                counts[place] = counts[index]
            place += 1
            continue
        count = counts[index]
        copy(pieces[index], count, work[0])
        counts[index] = 0
        for e in range(edges):
            x, y, z = planes[e, 0], planes[e, 1], planes[e, 2]
            if number >= MOST_PIECES:
                return -1
            outside = cut(work[0], count, -x, -y, -z, 0.0, pieces[number])
            if outside:
                counts[number] = outside
                number += 1
            count = cut(work[0], count, x, y, z, 0.0, work[1])
            copy(work[1], count, work[0])
            if count == 0:
                break
        if count and hole_edges:
            if number >= MOST_PIECES:
                return -1
            through = common(work[0], count, hole, hole_edges, pieces[number], work[2])
            if through:
                counts[number] = through
                number += 1
    for index in range(old, number):
        if place != index:
            copy(pieces[index], counts[index], pieces[place])
            counts[place] = counts[index]
        place += 1
    return place
