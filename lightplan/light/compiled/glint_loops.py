"""Light of a lamp that points get by way of one rough mirror: places on both that join them.

A point x sees a place y of the mirror, which mirrors a place of the lamp to it. Places of the
lamp are drawn evenly. Those of the mirror are drawn twice: so that the facets asked for follow
the mirror's own lobe (Newton's method finds where that is), which suits a narrow one; and
evenly, which suits a lobe that is wide beside the mirror. Each place counts by the density that
both have together there (the balance heuristic of Veach and Guibas, SIGGRAPH 1995), so neither
a narrow lobe nor a near mirror makes specks.

All in the frame of the mirror: it lies about z = 0 and faces up.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled
from lightplan.light.compiled.lobe_loops import masked, reflectance
from lightplan.light.compiled.sight import inside

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles

STEPS = 12  # of Newton's method at the most
EXACT = 1e-3  # how near the facet must come to the one that was drawn, in roughnesses
ROOT = 1.1673039782614187  # of x^5 = x + 1: its powers spread points in four dimensions


@compiled
def facets(u: float, v: float, x: Doubles, lamp: Doubles, mirror: Doubles, found: Doubles) -> bool:
    """Write which facet at a place of the mirror sends light from a lamp's place to a point.

    Parameters
    ----------
    u, v : float
        Place, mm.
    x, lamp : (3,) float
    mirror : (8,) float
        Roughness along and across, cosine and sine of its direction; a bow as in
        `scene.relief`: its height, cosine, sine, and half its length.
    found : (16,) float
        Slopes along and across of the facet against the surface; their four derivatives by u
        and v; cosine of facet and surface, of facet and light, of point and surface, of light
        and surface; squared distances of point and lamp; height; stretch of the surface;
        Smith's masking of both ways.
    """
    bow, bend_u, bend_v, half = mirror[4], mirror[5], mirror[6], mirror[7]
    along = (bend_u * u + bend_v * v) / half
    curve = -2.0 * bow / (half * half)
    slope, height = curve * along * half, bow * (1.0 - along * along)
    rise_u, rise_v = bend_u * slope, bend_v * slope
    stretch = math.sqrt(1.0 + slope * slope)
    nx, ny, nz = -rise_u / stretch, -rise_v / stretch, 1.0 / stretch
    tilt = mirror[2] * nx + mirror[3] * ny
    tx, ty, tz = mirror[2] - tilt * nx, mirror[3] - tilt * ny, -tilt * nz
    size = 1.0 / math.sqrt(tx * tx + ty * ty + tz * tz)
    tx, ty, tz = tx * size, ty * size, tz * size
    ox, oy, oz = ny * tz - nz * ty, nz * tx - nx * tz, nx * ty - ny * tx
    ax, ay, az = x[0] - u, x[1] - v, x[2] - height
    bx, by, bz = lamp[0] - u, lamp[1] - v, lamp[2] - height
    near, far = ax * ax + ay * ay + az * az, bx * bx + by * by + bz * bz
    if near < 1e-6 or far < 1e-6:
        return False
    r, q = 1.0 / math.sqrt(near), 1.0 / math.sqrt(far)
    ax, ay, az, bx, by, bz = ax * r, ay * r, az * r, bx * q, by * q, bz * q
    hx, hy, hz = ax + bx, ay + by, az + bz
    up = hx * nx + hy * ny + hz * nz
    if up < 1e-4:
        return False
    sx = (hx * tx + hy * ty + hz * tz) / up
    sy = (hx * ox + hy * oy + hz * oz) / up
    found[0], found[1] = sx, sy
    for k in range(2):
        wx, wy, wz = 1.0 - k, 0.0 + k, rise_u if k == 0 else rise_v
        to_x, to_l = (ax * wx + ay * wy + az * wz), (bx * wx + by * wy + bz * wz)
        dx = (ax * to_x - wx) * r + (bx * to_l - wx) * q
        dy = (ay * to_x - wy) * r + (by * to_l - wy) * q
        dz = (az * to_x - wz) * r + (bz * to_l - wz) * q
        turn = -curve * (bend_u if k == 0 else bend_v)  # of the normal, along the bend
        turn_t, turn_o = turn * (bend_u * tx + bend_v * ty), turn * (bend_u * ox + bend_v * oy)
        of_up = dx * nx + dy * ny + dz * nz + up * (turn_t * sx + turn_o * sy)
        found[2 + k] = (dx * tx + dy * ty + dz * tz - turn_t * up - sx * of_up) / up
        found[4 + k] = (dx * ox + dy * oy + dz * oz - turn_o * up - sy * of_up) / up
    size = math.sqrt(hx * hx + hy * hy + hz * hz)
    found[6] = up / size
    found[7] = 0.5 * size
    found[8] = ax * nx + ay * ny + az * nz
    found[9] = bx * nx + by * ny + bz * nz
    found[10], found[11], found[12], found[13] = near, far, height, stretch
    across_x, across_l = ax * ox + ay * oy + az * oz, bx * ox + by * oy + bz * oz
    to_x, to_l = ax * tx + ay * ty + az * tz, bx * tx + by * ty + bz * tz
    found[14] = masked(to_x, across_x, found[8], mirror[0], mirror[1])
    found[15] = masked(to_l, across_l, found[9], mirror[0], mirror[1])
    return True


@compiled
def place_of_facet(
    along: float, across: float, x: Doubles, lamp: Doubles, mirror: Doubles, found: Doubles
) -> tuple[float, float, bool]:
    """Return where a facet of given slopes joins a point and a place of the lamp."""
    share = x[2] / (x[2] + lamp[2])
    u, v = x[0] + share * (lamp[0] - x[0]), x[1] + share * (lamp[1] - x[1])
    longest = 0.5 * (x[2] + lamp[2] + math.hypot(lamp[0] - x[0], lamp[1] - x[1]))
    exact = EXACT * (min(mirror[0], mirror[1]) + 0.1 * math.hypot(along, across))
    for _ in range(STEPS):
        if not facets(u, v, x, lamp, mirror, found):
            return u, v, False
        off_x, off_y = along - found[0], across - found[1]
        if math.hypot(off_x, off_y) < exact:
            return u, v, True
        det = found[2] * found[5] - found[3] * found[4]
        if abs(det) < 1e-18:
            return u, v, False
        step_u = (found[5] * off_x - found[3] * off_y) / det
        step_v = (found[2] * off_y - found[4] * off_x) / det
        scale = min(1.0, longest / max(math.hypot(step_u, step_v), 1e-9))
        u, v = u + scale * step_u, v + scale * step_v
    return u, v, False


@compiled
def faces(x: Doubles, normal: Doubles, halves: Doubles, bow: float) -> bool:
    """Return whether a point sees anything of a mirror, by the corners of a box round that."""
    farthest = -1.0
    for k in range(8):
        u = halves[0] if k & 1 else -halves[0]
        v = halves[1] if k & 2 else -halves[1]
        w = bow if k & 4 else 0.0
        along = normal[0] * (u - x[0]) + normal[1] * (v - x[1]) + normal[2] * (w - x[2])
        farthest = max(farthest, along)
    return farthest > 0.0


@compiled
def glints(
    points: Doubles,
    frames: Doubles,
    views: Doubles,
    roughness: Doubles,
    s: Singles,
    p: Singles,
    numbers: Integers,
    mirror: Doubles,
    mirror_s: Singles,
    mirror_p: Singles,
    halves: Doubles,
    is_round: bool,
    holes: Doubles,
    lamp: Doubles,
    lamp_halves: Doubles,
    lamp_round: bool,
    radius: float,
    drawn: int,
    at: Doubles,
    on_lamp: Doubles,
    weight: Singles,
) -> None:
    """Write places (n, 2 x drawn) that join points and lamp, and what the lamp counts there.

    Parameters
    ----------
    points, frames, views : (n, 3), (n, 3, 3) and (n, 3) float
        Places, their frames (rows tangent, other, normal), and directions to the viewer in
        these frames.
    roughness, s, p : (2,) float and (3, m) float32
        Of the points, if they mirror; of roughness 0 they are matte, white and read 1 under a
        full sky of 1.
    numbers : (n,) int
        Which of the places each draws.
    mirror
        As in `facets`.
    halves, is_round, holes
        Outline of the mirror.
    lamp : (4, 3) float
        Centre, right, up and facing direction.
    lamp_halves, lamp_round, radius
        Its outline; its radius if it is a ball, else 0.
    at, on_lamp : (n, 2 x drawn, 3) float
    weight : (3, n, 2 x drawn) float32
        Given as 0.
    """
    is_matte = roughness[0] == 0.0
    rx, ry = max(roughness[0], 1e-9), max(roughness[1], 1e-9)
    ax, ay = mirror[0], mirror[1]
    size = 4.0 * halves[0] * halves[1] * (0.25 * math.pi if is_round else 1.0)
    lamp_size = 4.0 * lamp_halves[0] * lamp_halves[1] * (0.25 * math.pi if lamp_round else 1.0)
    if radius > 0:
        lamp_size = math.pi * radius * radius
    found, place = np.zeros(16), np.zeros(3)
    first, second, side = np.zeros(3), np.zeros(3), np.zeros(3)
    for c in range(3):
        first[c], second[c] = lamp[1, c], lamp[2, c]
    for i in range(points.shape[0]):
        x = points[i]
        if x[2] <= 0.02 or not faces(x, frames[i, 2], halves, mirror[4]):
            continue
        if radius > 0:  # a disk that faces the mirror stands for the ball
            if lamp[0, 2] <= 0:
                continue
            share = x[2] / (x[2] + lamp[0, 2])
            for c in range(2):
                near = x[c] + share * (lamp[0, c] - x[c])
                side[c] = min(max(near, -halves[c]), halves[c]) - lamp[0, c]
            side[2] = -lamp[0, 2]
            flat = 1.0 / math.sqrt(side[0] ** 2 + side[1] ** 2 + side[2] ** 2)
            level = math.hypot(side[0], side[1])
            first[0], first[1], first[2] = 1.0, 0.0, 0.0
            if level > 1e-9:
                first[0], first[1] = -side[1] / level, side[0] / level
            second[0] = (side[1] * first[2] - side[2] * first[1]) * flat
            second[1] = (side[2] * first[0] - side[0] * first[2]) * flat
            second[2] = (side[0] * first[1] - side[1] * first[0]) * flat
        of_view = 1.0
        if not is_matte:
            if views[i, 2] <= 0:
                continue
            of_view = masked(views[i, 0], views[i, 1], views[i, 2], rx, ry) / max(views[i, 2], 1e-4)
        for k in range(2 * drawn):
            turn = float(numbers[i] * drawn + k % drawn + 1) + (0.0 if k < drawn else 0.5)
            a, b = (0.5 + turn / ROOT) % 1.0, (0.5 + turn / ROOT**2) % 1.0
            e, f = (0.5 + turn / ROOT**3) % 1.0, (0.5 + turn / ROOT**4) % 1.0
            if lamp_round or radius > 0:
                out = math.sqrt(a)
                a, b = out * math.cos(2 * math.pi * b), out * math.sin(2 * math.pi * b)
            else:
                a, b = 2.0 * a - 1.0, 2.0 * b - 1.0
            wide, high = (radius, radius) if radius > 0 else (lamp_halves[0], lamp_halves[1])
            for c in range(3):
                place[c] = lamp[0, c] + a * wide * first[c] + b * high * second[c]
            if place[2] <= 0.02:
                continue
            if k < drawn:
                out = math.sqrt(e / max(1.0 - e, 1e-9))
                f *= 2 * math.pi
                u, v, is_found = place_of_facet(
                    ax * out * math.cos(f), ay * out * math.sin(f), x, place, mirror, found
                )
            else:
                if is_round:
                    out = math.sqrt(e)
                    u = halves[0] * out * math.cos(2 * math.pi * f)
                    v = halves[1] * out * math.sin(2 * math.pi * f)
                else:
                    u, v = halves[0] * (2.0 * e - 1.0), halves[1] * (2.0 * f - 1.0)
                is_found = facets(u, v, x, place, mirror, found)
            if not is_found or not inside(u, v, halves[0], halves[1], is_round, holes):
                continue
            if found[8] <= 1e-5 or found[9] <= 1e-5:
                continue
            near, far, height = max(found[10], 1.0), max(found[11], 1.0), found[12]
            leave = 1.0
            if radius == 0:
                leave = (
                    lamp[3, 0] * (u - place[0])
                    + lamp[3, 1] * (v - place[1])
                    + lamp[3, 2] * (height - place[2])
                ) / math.sqrt(far)
                if leave <= 1e-5:
                    continue
            by_distance = 1.0 / math.sqrt(near)
            wx, wy, wz = (
                (u - x[0]) * by_distance,
                (v - x[1]) * by_distance,
                (height - x[2]) * by_distance,
            )
            oz = frames[i, 2, 0] * wx + frames[i, 2, 1] * wy + frames[i, 2, 2] * wz
            if oz <= 1e-5:
                continue
            got, seen = oz / math.pi, 1.0
            if not is_matte:
                ox = frames[i, 0, 0] * wx + frames[i, 0, 1] * wy + frames[i, 0, 2] * wz
                oy = frames[i, 1, 0] * wx + frames[i, 1, 1] * wy + frames[i, 1, 2] * wz
                hx, hy, hz = ox + views[i, 0], oy + views[i, 1], oz + views[i, 2]
                long = 1.0 / math.sqrt(hx * hx + hy * hy + hz * hz)
                hx, hy, hz = hx * long, hy * long, hz * long
                seen = hx * views[i, 0] + hy * views[i, 1] + hz * views[i, 2]
                shape = (hx / rx) ** 2 + (hy / ry) ** 2 + hz * hz
                got = 0.25 / (math.pi * rx * ry * shape * shape)
                got *= masked(ox, oy, oz, rx, ry) * of_view
            steep = 1.0 + (found[0] / ax) ** 2 + (found[1] / ay) ** 2
            by_slope = 1.0 / (math.pi * ax * ay * steep * steep)
            density = by_slope * abs(found[2] * found[5] - found[3] * found[4])
            spread = by_slope / found[6] ** 4
            brings = (
                got
                * spread
                * found[14]
                * found[15]
                * leave
                * lamp_size
                * found[13]
                / (4.0 * near * far)
            )
            brings /= drawn * (density + 1.0 / size)
            at[i, k, 0], at[i, k, 1], at[i, k, 2] = u, v, height
            for c in range(3):
                on_lamp[i, k, c] = place[c]
                shown = reflectance(found[7], 0.5, mirror_s, mirror_p, c)
                if not is_matte:
                    shown *= reflectance(seen, 0.5, s, p, c)
                weight[c, i, k] = brings * shown
