"""Outlines of flat things and balls as they lie round one point, and cones round them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_in_place
from lightplan.geometry.cut_polygons import cut, direction, dot

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers

SIDES = 32  # of the polygon of equal area that stands for a disk, a ball or a hole
LEVEL_MM = 0.02  # a point nearer to a plane than this lies in it
HORIZON_MM = 1e-4


@compiled_in_place
def place(
    s: int,
    point: Doubles,
    frame: Doubles,
    corners: Doubles,
    count: int,
    normal: Doubles,
    centre: Doubles,
    radius: float,
    rims: Doubles,
    rim_counts: Integers,
    planes: Doubles,
    cones: Doubles,
    work: Doubles,
) -> None:
    """Write a surface's outline above the horizon, in the frame of a point, its plane and cone.

    The plane is (normal, distance) as seen from the point, the distance positive; the cone a
    unit direction and the cosine of its half angle.
    """
    if radius > 0:
        count = _disk_of_ball(point, frame, centre, radius, work[0], planes[s])
    else:
        local_to(point, frame, corners, count, work[0])
        for c in range(3):
            planes[s, c] = dot(frame[c], normal)
        planes[s, 3] = dot(normal, centre) - dot(normal, point)
    if planes[s, 3] < 0:
        for c in range(4):
            planes[s, c] *= -1
    if planes[s, 3] < LEVEL_MM:
        planes[s, 3] = 0.0
    rim_counts[s] = cut(work[0], count, 0.0, 0.0, 1.0, HORIZON_MM, rims[s])
    _cone(rims[s], rim_counts[s], cones[s])


@compiled_in_place
def local_to(point: Doubles, frame: Doubles, corners: Doubles, count: int, local: Doubles) -> None:
    """Write corners (count, 3) as they lie from a point, along the rows of its frame."""
    px, py, pz = point[0], point[1], point[2]
    for i in range(count):
        x, y, z = corners[i, 0] - px, corners[i, 1] - py, corners[i, 2] - pz
        local[i, 0] = frame[0, 0] * x + frame[0, 1] * y + frame[0, 2] * z
        local[i, 1] = frame[1, 0] * x + frame[1, 1] * y + frame[1, 2] * z
        local[i, 2] = frame[2, 0] * x + frame[2, 1] * y + frame[2, 2] * z


@compiled_in_place
def _disk_of_ball(
    point: Doubles, frame: Doubles, centre: Doubles, radius: float, rim: Doubles, plane: Doubles
) -> int:
    """Write the disk that a ball looks like from a point, and its plane."""
    way = plane
    for c in range(3):
        way[c] = dot(frame[c], centre) - dot(frame[c], point)
    squared = dot(way, way)
    if squared <= radius * radius * 1.000001:
        plane[3] = 0.0
        return 0
    distance = np.sqrt(squared)
    for c in range(3):
        way[c] /= distance
    touch = distance - radius * radius / distance
    # a polygon of the circle's area, as Flat.outline draws it
    grow = np.sqrt(np.pi / (SIDES / 2 * np.sin(2 * np.pi / SIDES)))
    wide = grow * radius * np.sqrt(1 - radius * radius / squared)
    right = rim[SIDES]
    right[0], right[1], right[2] = way[2], 0.0, -way[0]
    if abs(way[1]) > 0.9:
        right[0], right[1], right[2] = 0.0, -way[2], way[1]
    size = np.sqrt(dot(right, right))
    for c in range(3):
        right[c] /= size
    for i in range(SIDES):
        angle = 2 * np.pi * (i + 0.5) / SIDES
        cosine, sine = np.cos(angle), np.sin(angle)
        for c in range(3):
            d, e = (c + 1) % 3, (c + 2) % 3
            up = way[d] * right[e] - way[e] * right[d]
            rim[i, c] = touch * way[c] + wide * (cosine * right[c] + sine * up)
    plane[3] = touch
    return SIDES


@compiled_in_place
def _cone(rim: Doubles, count: int, cone: Doubles) -> None:
    """Write a cone round a polygon."""
    direction(rim, count, cone)
    size = np.sqrt(dot(cone, cone))
    cone[3] = 1.0
    if size == 0:
        return
    for c in range(3):
        cone[c] /= size
    least, dx, dy, dz = 1.0, cone[0], cone[1], cone[2]
    for i in range(count):
        x, y, z = rim[i, 0], rim[i, 1], rim[i, 2]
        along = dx * x + dy * y + dz * z
        least = min(least, along / np.sqrt(x * x + y * y + z * z))
    cone[3] = least


@compiled_in_place
def may_overlap(one: Doubles, other: Doubles) -> bool:
    """Return whether two cones have a direction in common."""
    a, b = one[3], other[3]
    if a <= 0 or b <= 0:
        return True
    apart = dot(one, other)
    reach = a * b - np.sqrt(max(0.0, 1 - a * a)) * np.sqrt(max(0.0, 1 - b * b))
    return bool(apart > reach - 1e-9)


@compiled_in_place
def is_behind(plane: Doubles, rim: Doubles, count: int) -> bool:
    """Return whether a plane that does not go through the point lies behind all of a polygon."""
    x, y, z, far = plane[0], plane[1], plane[2], plane[3]
    farthest = 0.0
    for i in range(count):
        farthest = max(farthest, x * rim[i, 0] + y * rim[i, 1] + z * rim[i, 2])
    return bool(farthest <= far)
