"""View factors: how much of a point's hemisphere flat patches fill.

Far patches count cos cos A / (pi r2). Near ones are exact, by Lambert's polygon: the sum over
the edges of the angle under which each is seen times the cosine between the plane through it
and the point's normal, over 2 pi, the part below the horizon cut off (Lambert 1760; Baum,
Rushmeier and Winget, SIGGRAPH 1989).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lightplan.compiled import compiled_in_place

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles


@compiled_in_place
def edge(
    ax: float,
    ay: float,
    az: float,
    bx: float,
    by: float,
    bz: float,
    nx: float,
    ny: float,
    nz: float,
) -> float:
    """Angle from a to b as seen from the point, times how level their plane is."""
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    size = math.sqrt(x * x + y * y + z * z)
    if size <= 1e-12:
        return 0.0
    angle = math.atan2(size, ax * bx + ay * by + az * bz)
    return angle * (x * nx + y * ny + z * nz) / size


@compiled_in_place
def polygon(point: Doubles, normal: Doubles, corners: Doubles) -> float:
    """View factor from a point (3,) to a convex flat polygon (k, 3), seen from either side."""
    count = corners.shape[0]
    nx, ny, nz = normal[0], normal[1], normal[2]
    total, crossings = 0.0, 0
    lx = ly = lz = ex = ey = ez = 0.0
    ax = corners[count - 1, 0] - point[0]
    ay = corners[count - 1, 1] - point[1]
    az = corners[count - 1, 2] - point[2]
    ha = ax * nx + ay * ny + az * nz
    for i in range(count):
        bx, by, bz = corners[i, 0] - point[0], corners[i, 1] - point[1], corners[i, 2] - point[2]
        hb = bx * nx + by * ny + bz * nz
        if ha > 0 and hb > 0:
            total += edge(ax, ay, az, bx, by, bz, nx, ny, nz)
        elif ha > 0 or hb > 0:
            t = ha / (ha - hb)
            x, y, z = ax + t * (bx - ax), ay + t * (by - ay), az + t * (bz - az)
            crossings += 1
            if ha > 0:  # it goes below the horizon here
                total += edge(ax, ay, az, x, y, z, nx, ny, nz)
                lx, ly, lz = x, y, z
            else:
                total += edge(x, y, z, bx, by, bz, nx, ny, nz)
                ex, ey, ez = x, y, z
        ax, ay, az, ha = bx, by, bz, hb
    if crossings == 2:  # closed along the horizon
        total += edge(lx, ly, lz, ex, ey, ez, nx, ny, nz)
    return abs(total) / (2.0 * math.pi)


@compiled_in_place
def to_patches(
    points: Doubles,
    normals: Doubles,
    spread: Doubles,
    centres: Doubles,
    facing: Doubles,
    areas: Doubles,
    corners: Doubles,
    near: float,
    level_mm: float,
    factors: Singles,
) -> None:
    """Write view factors (n, m) from points to the fronts of patches, nothing in between.

    Parameters
    ----------
    spread : (n, k, 3) float
        Points over which near factors are averaged; k = 0 for the point itself.
    areas : (m,) float
        Of what is really there within the outline.
    near : float
        Squared distance over a patch's area below which the exact formula is used.
    level_mm : float
        A point less than this before a patch's plane lies in it.
    """
    for j in range(centres.shape[0]):
        cx, cy, cz = centres[j, 0], centres[j, 1], centres[j, 2]
        mx, my, mz = facing[j, 0], facing[j, 1], facing[j, 2]
        a, b, c, d = corners[j, 0], corners[j, 1], corners[j, 2], corners[j, 3]
        ux, uy, uz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        vx, vy, vz = d[0] - b[0], d[1] - b[1], d[2] - b[2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        outline = math.sqrt(x * x + y * y + z * z) / 2
        present = min(1.0, areas[j] / max(outline, 1e-9))
        longest = ux * ux + uy * uy + uz * uz
        reach = near * max(areas[j], longest / 2)
        gx, gy = (a[0] + b[0] + c[0] + d[0]) / 4, (a[1] + b[1] + c[1] + d[1]) / 4
        gz = (a[2] + b[2] + c[2] + d[2]) / 4
        for i in range(points.shape[0]):
            dx, dy, dz = cx - points[i, 0], cy - points[i, 1], cz - points[i, 2]
            factors[i, j] = 0.0
            arrive = -(dx * mx + dy * my + dz * mz)
            if arrive < level_mm or areas[j] <= 0:
                continue
            leave = dx * normals[i, 0] + dy * normals[i, 1] + dz * normals[i, 2]
            squared = max(dx * dx + dy * dy + dz * dz, 1.0)
            if squared >= reach or leave <= -math.sqrt(longest):
                if leave > 0:
                    factors[i, j] = leave * arrive * areas[j] / (math.pi * squared * squared)
            elif spread.shape[1] == 0:
                factors[i, j] = present * polygon(points[i], normals[i], corners[j])
            else:
                total = 0.0
                for k in range(spread.shape[1]):
                    start = spread[i, k]
                    x, y, z = start[0] - gx, start[1] - gy, start[2] - gz
                    over = x * mx + y * my + z * mz
                    if over > level_mm:
                        total += polygon(start, normals[i], corners[j])
                factors[i, j] = present * total / spread.shape[1]
