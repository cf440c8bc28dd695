"""Point sets that fill a square evenly, always the same ones.

The sets are rank-1 lattices with the golden ratio (Fibonacci lattices when the count is a
Fibonacci number). They are fixed, so a picture has no random noise.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers

GOLDEN = (5**0.5 - 1) / 2


@lru_cache(maxsize=64)
def unit_square(count: int) -> Doubles:
    """Return (count, 2) points in the open unit square.

    >>> unit_square(5).shape
    (5, 2)
    """
    index = np.arange(count) + 0.5
    points = np.stack([index / count, (index * GOLDEN) % 1.0], axis=1)
    points.setflags(write=False)
    return points


@lru_cache(maxsize=64)
def unit_disk(count: int) -> Doubles:
    """Return (count, 2) points of equal area in the unit disk.

    >>> bool((np.hypot(*unit_disk(8).T) < 1).all())
    True
    """
    u, v = unit_square(count).T
    radius, angle = np.sqrt(u), 2 * np.pi * v
    points = np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)
    points.setflags(write=False)
    return points


def shifts(count: int) -> Doubles:
    """Return (count, 2) toroidal shifts that decorrelate neighbouring points of a grid.

    Uses the plastic-number sequence (R2), which spreads any prefix evenly.
    """
    return shifts_of(np.arange(count))


def shifts_of(numbers: Integers) -> Doubles:
    """Return the shifts (n, 2) of some numbers of that sequence."""
    plastic = 1.32471795724474602596
    index = np.asarray(numbers)[:, None] + 1
    return np.asarray((0.5 + index * np.array([1 / plastic, 1 / plastic**2])) % 1.0)


def cosine_hemisphere(square: Doubles) -> Doubles:
    """Map (n, 2) points of the square to unit directions, density cos/pi about +z."""
    radius, angle = np.sqrt(square[:, 0]), 2 * np.pi * square[:, 1]
    z = np.sqrt(np.maximum(0.0, 1.0 - square[:, 0]))
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), z], axis=1)


def frames(normals: Doubles) -> tuple[Doubles, Doubles]:
    """Return two unit tangents for each normal, (n, 3) each, right-handed with it."""
    x, y, z = np.asarray(normals, float).T
    level = np.abs(z) < 0.9  # else the cross product with x is taken, not that with z
    tangent = np.stack([np.where(level, -y, 0.0), np.where(level, x, -z), np.where(level, 0.0, y)])
    tangent /= np.sqrt(tangent[0] ** 2 + tangent[1] ** 2 + tangent[2] ** 2)
    tx, ty, tz = tangent
    other = np.stack([y * tz - z * ty, z * tx - x * tz, x * ty - y * tx], axis=1)
    return np.ascontiguousarray(tangent.T), other
