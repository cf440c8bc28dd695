"""Which straight lines flat things cut.

A line from a to b crosses the plane of a thing where its height over the plane changes sign,
at the share h(a) / (h(a) - h(b)) of the way; it is cut if that place lies within the outline
and in no opening. Ends that lie in the plane, to within TOUCH_MM, are not cut off by it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers


@compiled
def inside(
    x: float, y: float, half_width: float, half_height: float, is_round: bool, holes: Doubles
) -> bool:
    """Whether a place from the middle of a flat thing lies on it; holes (k, 3) are x, y, radius."""
    if is_round:
        u, v = x / half_width, y / half_height
        if u * u + v * v > 1.0:
            return False
    elif abs(x) > half_width or abs(y) > half_height:
        return False
    for k in range(holes.shape[0]):
        u, v = x - holes[k, 0], y - holes[k, 1]
        if u * u + v * v <= holes[k, 2] * holes[k, 2]:
            return False
    return True


@compiled
def local(points: Doubles, centre: Doubles, frame: Doubles, places: Doubles) -> None:
    """Write points (n, 3) in the axes of a thing, the columns of `frame`, to places (n, 3)."""
    for i in range(points.shape[0]):
        x, y, z = (points[i, 0] - centre[0], points[i, 1] - centre[1], points[i, 2] - centre[2])
        for c in range(3):
            places[i, c] = x * frame[0, c] + y * frame[1, c] + z * frame[2, c]


@compiled
def cut_lines(
    starts: Doubles,
    ends: Doubles,
    which: Integers,
    flags: Integers,
    fresh: Booleans,
    centres: Doubles,
    frames: Doubles,
    halves: Doubles,
    rounds: Booleans,
    holes: Doubles,
    first_hole: Integers,
    fresh_rows: Booleans,
    fresh_cols: Integers,
    touch: float,
    bits: Integers,
) -> None:
    """Set the flags of some flat things in bits (n, m) where they cut lines.

    Fresh things are looked at on all lines, the others where the start is among fresh rows
    or the end among fresh columns. Flags there are taken to be clear.

    Parameters
    ----------
    which, flags, fresh : (k,)
        Rows of the scene's arrays, and for each its flag and whether it is fresh.
    centres, frames, halves, rounds, holes, first_hole
        As in `light.packed.Packed`.
    """
    n, m = starts.shape[0], ends.shape[0]
    a, b = np.empty((n, 3)), np.empty((m, 3))
    every = np.arange(m)
    for k in range(which.shape[0]):
        s = which[k]
        local(starts, centres[s], frames[s], a)
        local(ends, centres[s], frames[s], b)
        low, high = np.inf, -np.inf
        for j in range(m):
            low, high = min(low, b[j, 2]), max(high, b[j, 2])
        width, height, is_round = halves[s, 0], halves[s, 1], rounds[s]
        some, flag = holes[first_hole[s] : first_hole[s + 1]], flags[k]
        for i in range(n):
            h = a[i, 2]
            if not ((h > touch and low < -touch) or (h < -touch and high > touch)):
                continue
            cols = every if fresh[k] or fresh_rows[i] else fresh_cols
            for place in range(cols.shape[0]):
                j = cols[place]
                g = b[j, 2]
                if (h > 0 and g >= -touch) or (h < 0 and g <= touch):
                    continue
                share = h / (h - g)
                x = a[i, 0] + share * (b[j, 0] - a[i, 0])
                if abs(x) > width:
                    continue
                y = a[i, 1] + share * (b[j, 1] - a[i, 1])
                if inside(x, y, width, height, is_round, some):
                    bits[i, j] |= flag


@compiled
def clear_of(bits: Integers, mask: int, free: Booleans) -> None:
    """Lower free (n, m) where one of the mask's flags is set in bits (n, m)."""
    for i in range(bits.shape[0]):
        for j in range(bits.shape[1]):
            if bits[i, j] & mask:
                free[i, j] = False


@compiled
def lay_out(before: Integers, rows: Integers, cols: Integers, keep: int, bits: Integers) -> None:
    """Write the kept flags of lines before to bits (n, m); those of new rows and columns are 0."""
    stays = True  # then rows are read in one go
    for j in range(bits.shape[1]):
        stays = stays and cols[j] == j
    for i in range(bits.shape[0]):
        if rows[i] < 0:
            for j in range(bits.shape[1]):
                bits[i, j] = 0
        elif stays:
            for j in range(bits.shape[1]):
                bits[i, j] = before[rows[i], j] & keep
        else:
            for j in range(bits.shape[1]):
                bits[i, j] = before[rows[i], cols[j]] & keep if cols[j] >= 0 else 0


@compiled
def free_pairs(
    starts: Doubles,
    ends: Doubles,
    which: Integers,
    centres: Doubles,
    frames: Doubles,
    halves: Doubles,
    rounds: Booleans,
    holes: Doubles,
    first_hole: Integers,
    touch: float,
    free: Booleans,
) -> None:
    """Lower free (n,) where some flat things cut the line from a start to its own end, (n, 3)."""
    n = starts.shape[0]
    a, b = np.empty((n, 3)), np.empty((n, 3))
    for k in range(which.shape[0]):
        s = which[k]
        local(starts, centres[s], frames[s], a)
        local(ends, centres[s], frames[s], b)
        some = holes[first_hole[s] : first_hole[s + 1]]
        for i in range(n):
            h, g = a[i, 2], b[i, 2]
            if not free[i] or not ((h > touch and g < -touch) or (h < -touch and g > touch)):
                continue
            share = h / (h - g)
            x, y = a[i, 0] + share * (b[i, 0] - a[i, 0]), a[i, 1] + share * (b[i, 1] - a[i, 1])
            if inside(x, y, halves[s, 0], halves[s, 1], rounds[s], some):
                free[i] = False


@compiled
def may_cut(
    starts: Doubles, middle: Doubles, reach: float, bodies: Doubles, found: Booleans
) -> None:
    """Set found (n,) where bodies may cut lines from a start to places about a middle.

    Parameters
    ----------
    starts : (n, 3) float
    middle, reach : (3,) float and float
        The ends of the lines are in that ball.
    bodies : (b, 5) float
        Centre and radius of a ball round each, and the radius of an upright post about its
        middle that holds it, infinite for none.
    """
    for i in range(starts.shape[0]):
        x, y, z = middle[0] - starts[i, 0], middle[1] - starts[i, 1], middle[2] - starts[i, 2]
        for b in range(bodies.shape[0]):
            u, v = bodies[b, 0] - starts[i, 0], bodies[b, 1] - starts[i, 1]
            w, radius, post = bodies[b, 2] - starts[i, 2], bodies[b, 3], bodies[b, 4]
            if _may_meet(x, y, z, reach, u, v, w, radius) and (
                post == np.inf or _may_meet(x, y, 0.0, reach, u, v, 0.0, post)
            ):
                found[i] = True
                break


@compiled
def _may_meet(
    x: float, y: float, z: float, reach: float, u: float, v: float, w: float, radius: float
) -> bool:
    """Whether lines to a ball about (x, y, z) may meet one about (u, v, w)."""
    far = max(math.sqrt(x * x + y * y + z * z), 1e-9)
    off = max(math.sqrt(u * u + v * v + w * w), 1e-9)
    if off <= radius + 1.0 or far <= reach:
        return True
    if off - radius > far + reach + 1.0:
        return False
    cosine = min(max((x * u + y * v + z * w) / (far * off), -1.0), 1.0)
    apart = math.acos(cosine) - 1e-6
    return bool(apart <= math.asin(reach / far) + math.asin(min(radius / off, 1.0)))
