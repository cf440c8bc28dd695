"""The lobe of a rough mirror at points of what it mirrors.

A point at distance r, seen under l from its own normal, counts D G1(view) G1(light) F / (4 view.n)
times cos l dA / r2: GGX facets, Smith's masking of both, Fresnel's reflectance (Walter et al.,
EGSR 2007). All in the frames of the mirror's spots.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled, compiled_in_place

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Integers, Singles


@compiled_in_place
def masked(x: float, y: float, z: float, ax: float, ay: float) -> float:
    """Smith's G1 of a direction above the surface."""
    reach = x * x * ax * ax + y * y * ay * ay + z * z
    return float(2.0 * z / (z + math.sqrt(reach)))


@compiled_in_place
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


@compiled_in_place
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
    points : (7, m) float
        Places, normals, and what each stands for. Those of target t are the columns from
        `firsts[t]` to `firsts[t + 1]`.
    facing : (t,) bool
        Whether a target is seen by any spot; the others are left at 0.
    weight, facets : (3 n m,) and (n m,) float32
        What each point's luminance counts, and the share of facets that mirror it; target by
        target, of m_t points each, as (3, n, m_t) and (n, m_t). Given as 0.
    off, nearest : (n, t) float
        How far out in the lobe a target's nearest point lies, in roughnesses, and the distance
        of the point that is nearest in space [mm]; infinite where it is not seen. The distance
        is told the shorter the more aslant view and light are: a step across them then turns the
        facet that joins them by more than half of its angle.
    """
    most = 0
    for t in range(facing.shape[0]):
        most = max(most, firsts[t + 1] - firsts[t])
    _weigh(
        (spots, frames, views, across, roughness),
        polarised,
        (s, p, 0.5 * s.astype(np.float64) + 0.5 * p),
        (points, firsts, facing),
        np.empty((7, most)),
        (weight, facets, off, nearest),
    )


@compiled_in_place
def _weigh(
    at: tuple[Doubles, Doubles, Doubles, Doubles, Doubles],
    polarised: bool,
    curves: tuple[Singles, Singles, Doubles],
    given: tuple[Doubles, Integers, Booleans],
    room: Doubles,
    found: tuple[Singles, Singles, Doubles, Doubles],
) -> None:
    """Do what `weighed` says, in the room (7, m) that it made."""
    spots, frames, views, across, roughness = at
    (s, p, even), (points, firsts, facing) = curves, given
    weight, facets, off, nearest = found
    n = spots.shape[0]
    for i in range(n):
        vz = views[i, 2]
        masks = masked(views[i, 0], views[i, 1], vz, roughness[0], roughness[1]) if vz > 0 else 0.0
        brings = masks / max(vz, 1e-4)
        for t in range(facing.shape[0]):
            off[i, t], nearest[i, t] = np.inf, np.inf
            if not facing[t]:
                continue
            first, count = firsts[t], firsts[t + 1] - firsts[t]
            start = n * first + i * count
            own = facets[start : start + count]
            _facets_of(points, first, spots[i], frames[i], views[i], roughness, room, own)
            best = 0
            for k in range(count):
                best = k if room[0, k] < room[0, best] else best
                nearest[i, t] = min(nearest[i, t], room[1, k])
            off[i, t], nearest[i, t] = math.sqrt(room[0, best]), math.sqrt(nearest[i, t])
            nearest[i, t] *= room[5, best] * room[6, best]  # half the level of view and light
            for c in range(3):
                start = (3 * first + c * count) * n + i * count
                of_channel = weight[start : start + count]
                if polarised:
                    _filtered(room, 0.5 * brings, views[i], across[i], s, p, c, of_channel)
                else:
                    _mirrored(room, brings, even[c], of_channel)


@compiled_in_place
def _facets_of(
    points: Doubles,
    first: int,
    spot: Doubles,
    frame: Doubles,
    view: Doubles,
    roughness: Doubles,
    room: Doubles,
    facets: Singles,
) -> None:
    """Write by which facets a spot mirrors m points, in `room` (7, ...), and their shares (m,).

    The points are the columns from `first` on. The room gets how far out in the lobe each lies,
    squared, and its distance squared, both infinite where it is not seen; the light without
    reflectance and masking of the view; and the facet's normal and the cosine under which it is
    seen. There are no branches, so that the processor takes several points at a time.
    """
    m, last = facets.shape[0], first + facets.shape[0]
    across, along, over = points[0, first:last], points[1, first:last], points[2, first:last]
    nx, ny, nz = points[3, first:last], points[4, first:last], points[5, first:last]
    areas, off, near, light = points[6, first:last], room[0, :m], room[1, :m], room[2, :m]
    facet_x, facet_y, facet_z, cosines = room[3, :m], room[4, :m], room[5, :m], room[6, :m]
    px, py, pz, vx, vy, vz = spot[0], spot[1], spot[2], view[0], view[1], view[2]
    tx, ty, tz, ux, uy, uz = (
        frame[0, 0], frame[0, 1], frame[0, 2], frame[1, 0], frame[1, 1], frame[1, 2],
    )  # fmt: skip
    wx, wy, wz, ax, ay = frame[2, 0], frame[2, 1], frame[2, 2], roughness[0], roughness[1]
    over_ax, over_ay, norm = 1.0 / ax, 1.0 / ay, 0.25 / (math.pi * ax * ay)
    for j in range(m):
        dx, dy, dz = across[j] - px, along[j] - py, over[j] - pz
        squared = max(dx * dx + dy * dy + dz * dz, 1.0)
        inverse = 1.0 / math.sqrt(squared)
        leave = -(dx * nx[j] + dy * ny[j] + dz * nz[j]) * inverse
        ox = (dx * tx + dy * ty + dz * tz) * inverse
        oy = (dx * ux + dy * uy + dz * uz) * inverse
        oz = (dx * wx + dy * wy + dz * wz) * inverse
        sees = (leave > 1e-5) & (oz > 1e-5)
        hx, hy, hz = ox + vx, oy + vy, oz + vz
        size = 1.0 / max(math.sqrt(hx * hx + hy * hy + hz * hz), 1e-9)
        hx, hy, hz = hx * size, hy * size, hz * size
        x, y, flat = hx * over_ax, hy * over_ay, max(hz, 1e-3)
        out = (x * x + y * y) / (flat * flat)
        off[j], near[j] = out if sees else np.inf, squared if sees else np.inf
        shape = x * x + y * y + hz * hz
        kept = norm * leave * areas[j] * inverse * inverse / (shape * shape)
        counts = sees & (hz > 0) & (areas[j] > 0)
        seen = max(hx * vx + hy * vy + hz * vz, 1e-4)
        share, brings = kept * hz / seen, kept * masked(ox, oy, oz, ax, ay)
        facets[j], light[j] = share if counts else 0.0, brings if counts else 0.0
        facet_x[j], facet_y[j], facet_z[j], cosines[j] = hx, hy, hz, seen


@compiled_in_place
def _mirrored(room: Doubles, brings: float, even: Doubles, weight: Singles) -> None:
    """Write what points count (m,) in a channel of reflectance `even` (n,), without a filter."""
    light, cosines, steps = room[2], room[6], even.shape[0] - 1
    for j in range(weight.shape[0]):
        place = math.sqrt(min(cosines[j], 1.0)) * steps
        low = min(int(place), steps - 1)
        weight[j] = brings * light[j] * (even[low] + (place - low) * (even[low + 1] - even[low]))


@compiled_in_place
def _filtered(
    room: Doubles,
    brings: float,
    view: Doubles,
    across: Doubles,
    s: Singles,
    p: Singles,
    channel: int,
    weight: Singles,
) -> None:
    """Write what points count (m,) in a channel through a filter."""
    light, facet_x, facet_y, facet_z, cosines = room[2], room[3], room[4], room[5], room[6]
    for j in range(weight.shape[0]):
        hx, hy, hz = facet_x[j], facet_y[j], facet_z[j]
        share = s_share(view[0], view[1], view[2], hx, hy, hz, across)
        weight[j] = brings * light[j] * reflectance(cosines[j], share, s, p, channel)
