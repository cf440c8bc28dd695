"""Rays: where they meet a flat thing, and what all that they meet brings."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_in_place, compiled_sums
from lightplan.light.compiled.sight import inside

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles

AT_ONCE = 8  # rays of one origin for which it pays to look at many in one step


@compiled_in_place
def evened(place: float, lines: Singles) -> float:
    """Coordinate -1..1 in which cells that end at `lines` are even; `lines` may be none."""
    count = lines.shape[0]
    if count == 0:
        return place
    low, high = 0, count - 2
    while low < high:
        middle = (low + high + 1) // 2
        if lines[middle] <= place:
            low = middle
        else:
            high = middle - 1
    share = min(max((place - lines[low]) / (lines[low + 1] - lines[low]), 0.0), 1.0)
    return float(-1.0 + 2.0 * (low + share) / (count - 1))


@compiled_in_place
def texel_at(x: float, y: float, lines_x: Singles, lines_y: Singles, face: Integers) -> int:
    """Texel of a face at a place -1..1; `face` is its first texel, rows and columns.

    A face without rows has one texel for all of it.
    """
    rows, cols = face[1], face[2]
    if rows == 0:
        return int(face[0])
    across = 0.5 * evened(x, lines_x) + 0.5
    up = 0.5 * evened(y, lines_y) + 0.5
    col = int(min(max(across * cols, 0.0), cols - 1.0))
    row = int(min(max((1.0 - up) * rows, 0.0), rows - 1.0))
    return int(face[0] + row * cols + col)


@compiled_in_place
def _meet_plain(
    x: Singles,
    y: Singles,
    z: Singles,
    origin: tuple[float, float, float],
    s: int,
    frame: Singles,
    limits: tuple[float, float, float],
    faces: Integers,
    distance: Singles,
    texel: Integers,
    surface: Integers,
) -> None:
    """Put a rectangle of even cells before what rays of one origin have met: many in one step.

    `origin` in the axes of the rectangle, the columns of `frame`; `limits` are its half width and
    height, and the way on which nothing is met. Without a branch: what is not met is written too,
    as it was.
    """
    a, b, c = origin
    xx, xy, xz = frame[0, 0], frame[1, 0], frame[2, 0]
    yx, yy, yz = frame[0, 1], frame[1, 1], frame[2, 1]
    zx, zy, zz = frame[0, 2], frame[1, 2], frame[2, 2]
    width, height, touch = limits
    front, back, own = np.int32(faces[0, 0]), np.int32(faces[1, 0]), np.int16(s)
    front_rows, back_rows = float(max(faces[0, 1], 1)), float(max(faces[1, 1], 1))
    front_cols, back_cols = 1.0, 1.0  # a face without rows has one texel
    if faces[0, 1]:
        front_cols = float(faces[0, 2])
    if faces[1, 1]:
        back_cols = float(faces[1, 2])
    for k in range(x.shape[0]):
        dx, dy, dz = x[k], y[k], z[k]
        fall = dx * zx + dy * zy + dz * zz
        length = -c / fall
        across = a + length * (dx * xx + dy * xy + dz * xz)
        up = b + length * (dx * yx + dy * yy + dz * yz)
        met = (touch < length) & (length < distance[k])
        met = met & (abs(across) <= width) & (abs(up) <= height)
        rows = front_rows if fall < 0 else back_rows
        cols = front_cols if fall < 0 else back_cols
        first = front if fall < 0 else back
        col = np.int32(min(max((0.5 * (across / width) + 0.5) * cols, 0.0), cols - 1.0))
        row = np.int32(min(max((1.0 - (0.5 * (up / height) + 0.5)) * rows, 0.0), rows - 1.0))
        distance[k] = length if met else distance[k]
        texel[k] = first + row * np.int32(cols) + col if met else texel[k]
        surface[k] = own if met else surface[k]


@compiled
def trace_flat(
    origins: Singles,
    directions: Singles,
    per_origin: int,
    s: int,
    centres: Doubles,
    frames: Doubles,
    halves: Doubles,
    rounds: Booleans,
    holes: Doubles,
    first_hole: Integers,
    lines: Singles,
    first_line: Integers,
    faces: Integers,
    touch: float,
    distance: Singles,
    texel: Integers,
    surface: Integers,
) -> None:
    """Put a flat thing before what rays have met so far, where it is nearer.

    Parameters
    ----------
    origins : (n, 3) float32
    directions : (3, n * per_origin) float32
    s : int
        Row of the scene's arrays, which are those of `light.packed.Packed`.
    faces : (2, 3) int
        Front and back, as `texel_at` takes them.
    distance, texel, surface : (n * per_origin,)
        How far rays go to what they have met, the texel they see there, and whose it is.
    """
    frame, centre = frames[s].astype(np.float32), centres[s].astype(np.float32)
    width, height = halves[s, 0], halves[s, 1]
    some = holes[first_hole[s] : first_hole[s + 1]]
    lines_x = lines[first_line[s, 0] : first_line[s, 1]]
    lines_y = lines[first_line[s, 1] : first_line[s, 2]]
    is_plain = not rounds[s] and len(some) == 0 and len(lines_x) == 0 and len(lines_y) == 0
    for i in range(origins.shape[0]):
        x0, y0, z0 = (
            origins[i, 0] - centre[0],
            origins[i, 1] - centre[1],
            origins[i, 2] - centre[2],
        )
        a = x0 * frame[0, 0] + y0 * frame[1, 0] + z0 * frame[2, 0]
        b = x0 * frame[0, 1] + y0 * frame[1, 1] + z0 * frame[2, 1]
        c = x0 * frame[0, 2] + y0 * frame[1, 2] + z0 * frame[2, 2]
        begin, end = i * per_origin, (i + 1) * per_origin
        if is_plain and per_origin >= AT_ONCE:
            _meet_plain(
                directions[0, begin:end],
                directions[1, begin:end],
                directions[2, begin:end],
                (a, b, c),
                s,
                frame,
                (width, height, touch),
                faces,
                distance[begin:end],
                texel[begin:end],
                surface[begin:end],
            )
            continue
        for j in range(begin, end):
            dx, dy, dz = directions[0, j], directions[1, j], directions[2, j]
            fall = dx * frame[0, 2] + dy * frame[1, 2] + dz * frame[2, 2]
            length = -c / fall
            if not touch < length < distance[j]:
                continue
            x = a + length * (dx * frame[0, 0] + dy * frame[1, 0] + dz * frame[2, 0])
            if abs(x) > width:
                continue
            y = b + length * (dx * frame[0, 1] + dy * frame[1, 1] + dz * frame[2, 1])
            if not inside(x, y, width, height, rounds[s], some):
                continue
            distance[j], surface[j] = length, s
            side = 0 if fall < 0 else 1
            texel[j] = texel_at(x / width, y / height, lines_x, lines_y, faces[side])


@compiled_in_place
def nearest(
    way: Singles, seen: Integers, index: int, distance: Singles, texel: Integers, surface: Integers
) -> None:
    """Put one thing before what rays have met so far, where it is nearer."""
    for j in range(way.shape[0]):
        if way[j] < distance[j]:
            distance[j], texel[j], surface[j] = way[j], seen[j], index


@compiled_sums
def brought(texel: Integers, carry: Singles, table: Singles, total: Singles) -> None:
    """Add what r rays of each of n bundles see, times what they carry, to total (n, k, 3).

    texel (n, r), carry (3, n, r), table (t, k, 3); texels below 0 are dark.
    """
    for i in range(texel.shape[0]):
        for k in range(table.shape[1]):
            red, green, blue = np.float32(0.0), np.float32(0.0), np.float32(0.0)
            for r in range(texel.shape[1]):
                t = max(texel[i, r], 0)
                red += carry[0, i, r] * table[t, k, 0]
                green += carry[1, i, r] * table[t, k, 1]
                blue += carry[2, i, r] * table[t, k, 2]
            total[i, k, 0] += red
            total[i, k, 1] += green
            total[i, k, 2] += blue


@compiled_in_place
def between_texels(
    origin: Singles,
    directions: Singles,
    surface: Integers,
    distance: Singles,
    centres: Doubles,
    frames: Doubles,
    halves: Doubles,
    lines: Singles,
    first_line: Integers,
    faces: Integers,
    table: Singles,
    seen: Singles,
) -> None:
    """Smooth what rays see of flat faces with texels of their own: bilinear between texels.

    Parameters
    ----------
    origin : (3,) float32
        Of all rays.
    directions : (3, n) float32
    surface, distance : (n,)
        The first surface that each ray meets, below 0 for none, and how far off.
    faces : (s, 2, 3) int
        Front and back, as `texel_at` takes them; without columns where a face is no grid, or
        the surface is not flat.
    table : (t, 3) float32
    seen : (n, 3) float32
        What is written to.
    """
    for j in range(surface.shape[0]):
        s = surface[j]
        if s < 0:
            continue
        fall, x, y = 0.0, 0.0, 0.0
        for c in range(3):
            d = directions[c, j]
            at = origin[c] + distance[j] * d - centres[s, c]
            fall += d * frames[s, c, 2]
            x += at * frames[s, c, 0]
            y += at * frames[s, c, 1]
        face = faces[s, 0 if fall < 0 else 1]
        rows, cols = face[1], face[2]
        if rows < 2 or cols < 2:
            continue
        across = 0.5 * evened(x / halves[s, 0], lines[first_line[s, 0] : first_line[s, 1]]) + 0.5
        up = 0.5 * evened(y / halves[s, 1], lines[first_line[s, 1] : first_line[s, 2]]) + 0.5
        col = min(max(across * cols - 0.5, 0.0), cols - 1.001)
        row = min(max((1.0 - up) * rows - 0.5, 0.0), rows - 1.001)
        left, top = int(col), int(row)
        u, v = col - left, row - top
        t = face[0] + top * cols + left
        for c in range(3):
            upper = table[t, c] + u * (table[t + 1, c] - table[t, c])
            lower = table[t + cols, c] + u * (table[t + cols + 1, c] - table[t + cols, c])
            seen[j, c] = upper + v * (lower - upper)


@compiled_in_place
def pixel_rays(
    right: Doubles,
    up: Doubles,
    forward: Doubles,
    tan_x: float,
    tan_y: float,
    rows: int,
    cols: int,
    directions: Doubles,
) -> None:
    """Write unit directions (rows * cols, 3) through the middles of a camera's pixels.

    tan_x and tan_y are the tangents of half its field of view; row 0 is at the top.
    """
    for row in range(rows):
        y = (1.0 - 2.0 * (row + 0.5) / rows) * tan_y
        for col in range(cols):
            x = (2.0 * (col + 0.5) / cols - 1.0) * tan_x
            scale = 1.0 / math.sqrt(1.0 + x * x + y * y)
            for c in range(3):
                at = forward[c] + x * right[c] + y * up[c]
                directions[row * cols + col, c] = at * scale
