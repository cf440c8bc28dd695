"""Which straight lines flat things cut.

A line from a to b crosses the plane of a thing where its height over the plane changes sign,
at the share h(a) / (h(a) - h(b)) of the way; it is cut if that place lies within the outline
and in no opening. Ends that lie in the plane, to within TOUCH_MM, are not cut off by it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_in_place

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers


@compiled_in_place
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


@compiled_in_place
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
    _cut(
        (starts, ends),
        (which, flags, fresh),
        (centres, frames, halves, rounds, holes, first_hole),
        fresh_rows,
        _runs(fresh_cols),
        touch,
        (np.empty((n, 3)), np.empty((m, 3)), np.empty((3, m))),
        bits,
    )


@compiled_in_place
def _cut(
    lines: tuple[Doubles, Doubles],
    things: tuple[Integers, Integers, Booleans],
    plates: tuple[Doubles, Doubles, Doubles, Booleans, Doubles, Integers],
    fresh_rows: Booleans,
    runs: Integers,
    touch: float,
    room: tuple[Doubles, Doubles, Doubles],
    bits: Integers,
) -> None:
    """Do what `cut_lines` says, in the room that it made; fresh columns come as their runs."""
    (starts, ends), (which, flags, fresh) = lines, things
    centres, frames, halves, rounds, holes, first_hole = plates
    a, b, at = room
    m = ends.shape[0]
    for k in range(which.shape[0]):
        s = which[k]
        local(starts, centres[s], frames[s], a)
        local(ends, centres[s], frames[s], b)
        low, high = np.inf, -np.inf
        for j in range(m):
            low, high = min(low, b[j, 2]), max(high, b[j, 2])
            at[0, j], at[1, j], at[2, j] = b[j, 0], b[j, 1], b[j, 2]
        some = holes[first_hole[s] : first_hole[s + 1]]
        for i in range(starts.shape[0]):
            h = a[i, 2]
            if not ((h > touch and low < -touch) or (h < -touch and high > touch)):
                continue
            given = (halves[s], rounds[s], some, touch, flags[k], bits[i])
            if fresh[k] or fresh_rows[i]:
                _cut_some(a[i], at, 0, m, *given)
                continue
            for r in range(runs.shape[0]):
                _cut_some(a[i], at, runs[r, 0], runs[r, 1], *given)


@compiled
def _runs(numbers: Integers) -> Integers:
    """Return (r, 2) where rising numbers (m,) follow each other: the first, and one past the last.

    Loops over such run much quicker than over places one by one.
    """
    found = np.empty((numbers.shape[0], 2), np.int64)
    count = 0
    for k in range(numbers.shape[0]):
        if count == 0 or found[count - 1, 1] != numbers[k]:
            found[count, 0] = numbers[k]
            count += 1
        found[count - 1, 1] = numbers[k] + 1
    return found[:count]


@compiled_in_place
def _cut_some(
    start: Doubles,
    ends: Doubles,
    first: int,
    last: int,
    half: Doubles,
    is_round: bool,
    holes: Doubles,
    touch: float,
    flag: int,
    bits: Integers,
) -> None:
    """Set a thing's flag in bits (m,) where it cuts lines from a start to some of m ends.

    Start (3,) and ends (3, m) are in the axes of the thing, of half a width and height (2,).
    Nothing in it hangs on what came out before, so that several lines are looked at at a time.
    """
    x, y, h = start[0], start[1], start[2]
    width, height = half[0], half[1]
    side = 1.0 if h > 0 else -1.0
    across, up, over = ends[0, first:last], ends[1, first:last], ends[2, first:last]
    kept = bits[first:last]
    if is_round or holes.shape[0]:
        for j in range(kept.shape[0]):
            if over[j] * side < -touch:
                share = h / (h - over[j])
                u, v = x + share * (across[j] - x), y + share * (up[j] - y)
                if inside(u, v, width, height, is_round, holes):
                    kept[j] |= flag
        return
    for j in range(kept.shape[0]):
        share = h / (h - over[j])
        u, v = x + share * (across[j] - x), y + share * (up[j] - y)
        cuts = (over[j] * side < -touch) & (abs(u) <= width) & (abs(v) <= height)
        kept[j] |= flag if cuts else 0


@compiled
def are_clear(bits: Integers, mask: int, free: Booleans) -> None:
    """Write to free (n, m) whether none of the mask's flags is set in bits (n, m)."""
    for i in range(bits.shape[0]):
        for j in range(bits.shape[1]):
            free[i, j] = (bits[i, j] & mask) == 0


@compiled
def lay_out(before: Integers, rows: Integers, cols: Integers, keep: int, bits: Integers) -> None:
    """Write the kept flags of lines before to bits (n, m); those of new rows and columns are 0."""
    stays = bits.shape[1] <= before.shape[1]  # or is new: then rows are read in one go
    keeps = np.empty(bits.shape[1], bits.dtype)
    for j in range(bits.shape[1]):
        stays = stays and (cols[j] == j or cols[j] < 0)
        keeps[j] = keep if cols[j] >= 0 else 0
    for i in range(bits.shape[0]):
        if rows[i] < 0:
            for j in range(bits.shape[1]):
                bits[i, j] = 0
        elif stays:
            for j in range(bits.shape[1]):
                bits[i, j] = before[rows[i], j] & keeps[j]
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
