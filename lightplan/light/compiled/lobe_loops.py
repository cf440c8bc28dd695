"""The lobe of a rough mirror at points of what it mirrors.

A point at distance r, seen under l from its own normal, counts D G1(view) G1(light) F / (4 view.n)
times cos l dA / r2: GGX facets, Smith's masking of both, Fresnel's reflectance (Walter et al.,
EGSR 2007). All in the frames of the mirror's spots.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles


@compiled
def masked(x: float, y: float, z: float, ax: float, ay: float) -> float:
    """Smith's G1 of a direction above the surface."""
    reach = x * x * ax * ax + y * y * ay * ay + z * z
    return float(2.0 * z / (z + math.sqrt(reach)))


@compiled
def reflectance(cosine: float, share: float, s: Singles, p: Singles, channel: int) -> float:
    """Reflectance of a channel at an angle, `share` of the light being polarised as s.

    s and p (3, n): even steps of the square root of the cosine, read as straight lines.
    """
    place = math.sqrt(min(max(cosine, 0.0), 1.0)) * (s.shape[1] - 1)
    low = min(int(place), s.shape[1] - 2)
    t = place - low
    of_s = s[channel, low] + t * (s[channel, low + 1] - s[channel, low])
    of_p = p[channel, low] + t * (p[channel, low + 1] - p[channel, low])
    return float(share * of_s + (1.0 - share) * of_p)


@compiled
def s_share(
    vx: float, vy: float, vz: float, hx: float, hy: float, hz: float, across: Doubles
) -> float:
    """Share of light polarised as s that a filter passes; `across` is its axis across the view."""
    x, y, z = vy * hz - vz * hy, vz * hx - vx * hz, vx * hy - vy * hx
    size = math.sqrt(x * x + y * y + z * z)
    if size <= 1e-6:
        return 0.5
    along = (x * across[0] + y * across[1] + z * across[2]) / size
    return float(along * along)


@compiled
def weighed(
    spots: Doubles,
    frames: Doubles,
    views: Doubles,
    across: Doubles,
    polarised: bool,
    roughness: Doubles,
    s: Singles,
    p: Singles,
    points: Doubles,
    normals: Doubles,
    areas: Doubles,
    firsts: Integers,
    facing: Booleans,
    weight: Singles,
    facets: Singles,
    off: Doubles,
    nearest: Doubles,
) -> None:
    """Write what points of t targets count at n spots, and what tells whether they are dense.

    Parameters
    ----------
    spots : (n, 3) float
    frames : (n, 3, 3) float
        Rows tangent, other, normal.
    views, across : (n, 3) float
        Directions to the viewer, and the filter's axis across them, in the spots' frames.
    points, normals, areas : (m, ...) float
        Those of target t are the rows from `firsts[t]` to `firsts[t + 1]`.
    facing : (t,) bool
        Whether a target is seen by any spot; the others are left at 0.
    weight, facets : (3, n, m), (n, m) float32
        What each point's luminance counts, and the share of facets that mirror it; given as 0.
    off, nearest : (n, t) float
        How far out in the lobe a target's nearest point lies, in roughnesses, and the distance
        of the point that is nearest in space [mm]; infinite where it is not seen.
    """
    ax, ay = roughness[0], roughness[1]
    norm = 1.0 / (math.pi * ax * ay)
    for i in range(spots.shape[0]):
        vx, vy, vz = views[i, 0], views[i, 1], views[i, 2]
        frame = frames[i]
        of_view = masked(vx, vy, max(vz, 0.0), ax, ay) if vz > 0 else 0.0
        for t in range(facing.shape[0]):
            off[i, t], nearest[i, t] = np.inf, np.inf
            if not facing[t]:
                continue
            for j in range(firsts[t], firsts[t + 1]):
                dx = points[j, 0] - spots[i, 0]
                dy = points[j, 1] - spots[i, 1]
                dz = points[j, 2] - spots[i, 2]
                squared = max(dx * dx + dy * dy + dz * dz, 1.0)
                inverse = 1.0 / math.sqrt(squared)
                leave = -(dx * normals[j, 0] + dy * normals[j, 1] + dz * normals[j, 2]) * inverse
                oz = (dx * frame[2, 0] + dy * frame[2, 1] + dz * frame[2, 2]) * inverse
                if leave <= 1e-5 or oz <= 1e-5:
                    continue
                ox = (dx * frame[0, 0] + dy * frame[0, 1] + dz * frame[0, 2]) * inverse
                oy = (dx * frame[1, 0] + dy * frame[1, 1] + dz * frame[1, 2]) * inverse
                hx, hy, hz = ox + vx, oy + vy, oz + vz
                size = 1.0 / max(math.sqrt(hx * hx + hy * hy + hz * hz), 1e-9)
                hx, hy, hz = hx * size, hy * size, hz * size
                x, y = hx / ax, hy / ay
                flat = max(hz, 1e-3)
                off[i, t] = min(off[i, t], (x * x + y * y) / (flat * flat))
                nearest[i, t] = min(nearest[i, t], squared)
                if hz <= 0 or areas[j] <= 0:
                    continue
                shape = x * x + y * y + hz * hz
                kept = 0.25 * norm / (shape * shape) * leave * areas[j] / squared
                seen = max(hx * vx + hy * vy + hz * vz, 1e-4)
                facets[i, j] = kept * hz / seen
                brings = kept * masked(ox, oy, oz, ax, ay) * of_view / max(vz, 1e-4)
                share = 0.5
                if polarised:
                    share = s_share(vx, vy, vz, hx, hy, hz, across[i])
                    brings *= 0.5
                for c in range(3):
                    weight[c, i, j] = brings * reflectance(seen, share, s, p, c)
            off[i, t] = math.sqrt(off[i, t])
            nearest[i, t] = math.sqrt(nearest[i, t])


@compiled
def facets_seen(
    vx: float,
    vy: float,
    vz: float,
    ax: float,
    ay: float,
    square: Doubles,
    turns: Doubles,
    shift: Doubles,
    normals: Doubles,
) -> None:
    """Write the normals (r, 3) of facets drawn from those of GGX that one viewer sees.

    They are a disk's points, stretched (Dupuy and Benyoub, HPG 2023).

    Parameters
    ----------
    vx, vy, vz : float
        Direction to the viewer, in the spot's frame.
    ax, ay : float
        GGX alphas.
    square, turns : (r, 2) float
        Points of the unit square, and cosine and sine of the turn that the first of each tells.
    shift : (2,) float
        By which this viewer takes them.
    """
    turned = 2.0 * math.pi * shift[0]
    cosine_turned, sine_turned = math.cos(turned), math.sin(turned)
    scale = 1.0 / math.sqrt(vx * vx * ax * ax + vy * vy * ay * ay + vz * vz)
    x, y, z = vx * ax * scale, vy * ay * scale, vz * scale
    for k in range(square.shape[0]):
        right = turns[k, 0] * cosine_turned - turns[k, 1] * sine_turned  # of both turns' sum
        far = turns[k, 1] * cosine_turned + turns[k, 0] * sine_turned
        down = square[k, 1] + shift[1]
        up = (1.0 - (down - math.floor(down))) * (1.0 + z) - z
        side = math.sqrt(max(1.0 - up * up, 0.0))
        hx, hy, hz = (side * right + x) * ax, (side * far + y) * ay, max(up + z, 0.0)
        size = 1.0 / max(math.sqrt(hx * hx + hy * hy + hz * hz), 1e-300)
        normals[k, 0], normals[k, 1], normals[k, 2] = hx * size, hy * size, hz * size


@compiled
def turns_of(square: Doubles) -> Doubles:
    """Return cosine and sine (r, 2) of the turns that the first of points (r, 2) tell."""
    turns = np.empty((square.shape[0], 2))
    for k in range(square.shape[0]):
        angle = 2.0 * math.pi * square[k, 0]
        turns[k, 0], turns[k, 1] = math.cos(angle), math.sin(angle)
    return turns


@compiled
def drawn(
    frames: Doubles,
    views: Doubles,
    across: Doubles,
    polarised: bool,
    roughness: Doubles,
    s: Singles,
    p: Singles,
    square: Doubles,
    shifts: Doubles,
    carry: Singles,
    facets: Singles,
    onward: Singles,
) -> None:
    """Draw facets from those each of n viewers sees, and write where light comes from to them.

    Parameters
    ----------
    frames, views, across, polarised, roughness, s, p
        As in `weighed`.
    square, shifts : (r, 2) and (n, 2) float
        Points of the unit square, which each spot takes shifted.
    carry, facets : (3, n, r) and (n, r) float32
        What each ray's luminance counts, and the share of facets as they lie that it stands for.
    onward : (3, n * r) float32
        Directions in the world.
    """
    ax, ay, count = roughness[0], roughness[1], square.shape[0]
    turns, normals = turns_of(square), np.empty((count, 3))
    for i in range(views.shape[0]):
        vx, vy, vz = views[i, 0], views[i, 1], views[i, 2]
        of_view = masked(vx, vy, vz, ax, ay) if vz > 0 else 0.0
        facets_seen(vx, vy, vz, ax, ay, square, turns, shifts[i], normals)
        for k in range(count):
            hx, hy, hz = normals[k, 0], normals[k, 1], normals[k, 2]
            cosine = vx * hx + vy * hy + vz * hz
            ox, oy, oz = 2 * cosine * hx - vx, 2 * cosine * hy - vy, 2 * cosine * hz - vz
            for c in range(3):
                onward[c, i * count + k] = (
                    frames[i, 0, c] * ox + frames[i, 1, c] * oy + frames[i, 2, c] * oz
                )
            facets[i, k] = vz * hz / max(of_view * cosine, 1e-6) / count
            brings = masked(ox, oy, oz, ax, ay) / count if oz > 0 else 0.0
            share = 0.5
            if polarised:
                share = s_share(vx, vy, vz, hx, hy, hz, across[i])
                brings *= 0.5
            for c in range(3):
                carry[c, i, k] = brings * reflectance(cosine, share, s, p, c)
