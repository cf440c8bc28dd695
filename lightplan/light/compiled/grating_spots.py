"""Lamps on a grating: what it sends on of each of their spots, added up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_sums
from lightplan.light.compiled.gratings import diffracted

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Singles


@compiled_sums
def from_spots(
    points: Doubles,
    frames: Singles,
    view: Singles,
    spots: Doubles,
    normals: Doubles,
    areas: Doubles,
    free: Booleans,
    gains: Singles,
    roughness: Singles,
    across: Singles,
    kicks: Singles,
    shares: Singles,
    colour: Singles,
    total: Singles,
) -> None:
    """Add what white metal sends to its viewers of m spots on a lamp of luminance 1.

    Each spot's light by distance and cosine where it leaves, what facets send on of it
    (`diffracted`), times Smith's masking of where it comes from.

    Parameters
    ----------
    points, frames, view : (n, 3) float, (n, 3, 3) and (n, 3) float32
        Places of the grating, their frames (rows tangent, other, normal), and directions to
        the viewers in these.
    spots, normals, areas : (m, 3), (m, 3) and (m,) float
        mm and mm2.
    free : (n, m) bool
        Which spots each place sees.
    gains : (n, m) float32
        By a lamp's own spread; without rows where it has none.
    roughness, across, kicks, shares, colour, total
        As in `diffracted`.
    """
    count = points.shape[0]
    ax, ay = roughness[0], roughness[1]
    rows, kept = np.empty(count, np.int64), np.empty(count, np.float32)
    seen, out = np.empty((count, 3), np.float32), np.empty((count, 3), np.float32)
    part = np.empty((count, 3), np.float32)
    for m in range(spots.shape[0]):
        lit = 0
        for i in range(count):
            if not free[i, m]:
                continue
            x = spots[m, 0] - points[i, 0]
            y = spots[m, 1] - points[i, 1]
            z = spots[m, 2] - points[i, 2]
            squared = x * x + y * y + z * z
            size = np.sqrt(squared)
            x, y, z = x / size, y / size, z / size
            leave = -(x * normals[m, 0] + y * normals[m, 1] + z * normals[m, 2])
            if leave <= 0:
                continue
            wx, wy, wz = np.float32(x), np.float32(y), np.float32(z)
            for c in range(3):
                out[lit, c] = frames[i, c, 0] * wx + frames[i, c, 1] * wy + frames[i, c, 2] * wz
                seen[lit, c] = view[i, c]
                part[lit, c] = np.float32(0.0)
            ox, oy, up = out[lit, 0], out[lit, 1], max(out[lit, 2], np.float32(0.0))
            reach = up + np.sqrt(ox * ox * ax * ax + oy * oy * ay * ay + up * up)
            brings = np.float32(leave * areas[m] / squared)
            brings *= np.float32(2.0) * up / max(reach, np.float32(1e-30))
            if gains.shape[0]:
                brings *= gains[i, m]
            rows[lit], kept[lit] = i, brings
            lit += 1
        if lit:
            diffracted(seen[:lit], out[:lit], roughness, across, kicks, shares, colour, part[:lit])
        for k in range(lit):
            for c in range(3):
                total[rows[k], c] += part[k, c] * kept[k]
