"""How much of a lobe a polygon fills, exactly: Lambert's formula for matte faces and facets.

Light that a matte point gets from a polygon is Lambert's sum over its edges (J. H. Lambert,
*Photometria*, 1760). The same sum gives how many facets of a GGX surface mirror it: with
slopes measured in roughnesses their density is 1 / (pi (1 + x2 + y2)2), which is how a matte
point weighs a plane at height 1. Mirroring bends straight edges slightly; they are cut into
pieces short enough to be parabolas, and the bow of each is added to its chord.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled_in_place

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

# Share of the lobe that the bow of a piece may hold, and how long its chord may be, squared and
# over 1 + x2 + y2 where it comes nearest to the lobe's middle: then its bow is known to a few
# per cent. A bow that holds less than STRAIGHT may be as long as it likes.
CURVED, LONG, STRAIGHT = 1e-3, 0.8, 1e-5
MOST_HALVINGS = 7


@compiled_in_place
def matte_edge(
    a: tuple[float, float, float], b: tuple[float, float, float], low: float, high: float
) -> float:
    """Return what part of an edge, from a share of its way to another, adds to the view factor.

    Corners a, b (3,) are in the frame of the point, z along its normal.
    """
    x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    return _edge(
        a[0] + low * x,
        a[1] + low * y,
        a[2] + low * z,
        a[0] + high * x,
        a[1] + high * y,
        a[2] + high * z,
    )


@compiled_in_place
def _edge(ax: float, ay: float, az: float, bx: float, by: float, bz: float) -> float:
    """Return the part of the edge from a to b: its angle times its plane's level, over 2 pi."""
    x, y, z = ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx
    squared, along = x * x + y * y + z * z, ax * bx + ay * by + az * bz
    if along > 0 and squared < 0.03 * along * along:
        # the series of the arc tangent, to 1e-12
        q = squared / (along * along)
        angle = 1 - q * (1 / 3 - q * (1 / 5 - q * (1 / 7 - q * (1 / 9 - q * (1 / 11 - q / 13)))))
        return float(angle * z / (along * 2 * np.pi))
    if squared < 1e-300:
        return 0.0
    size = np.sqrt(squared)
    return float(np.arctan2(size, along) * z / (size * 2 * np.pi))


@compiled_in_place
def lobe_edge(
    a: tuple[float, float, float],
    b: tuple[float, float, float],
    low: float,
    high: float,
    view: Doubles,
    ax: float,
    ay: float,
    work: Doubles,
    goes_on: bool,
) -> float:
    """Return what part of an edge adds to the share of facets that mirror it to the viewer.

    Parameters
    ----------
    a, b : (float, float, float)
        Its corners above the horizon, in the frame of the spot, z along its normal.
    low, high : float
        From where to where, as shares of its way.
    view : (3,) float
        Unit direction to the viewer.
    work : (MOST_HALVINGS + 2, 5) float
        Room to work in.
    goes_on : bool
        Whether the piece begins where the last one that was worked out in the same room ended.
    """
    x, y, z = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    row = int(np.int64(0))  # not as a literal, for which numba would compile `_aim` once more
    if not goes_on:
        _aim(a[0] + low * x, a[1] + low * y, a[2] + low * z, view, ax, ay, work, row)
    start = work[0, 0], work[0, 1], work[0, 2]
    slope = work[0, 3], work[0, 4]
    _aim(a[0] + high * x, a[1] + high * y, a[2] + high * z, view, ax, ay, work, row)
    return float(_bent_edge(start, slope, view, ax, ay, work))


@compiled_in_place
def _aim(
    x: float, y: float, z: float, view: Doubles, ax: float, ay: float, work: Doubles, row: int
) -> None:
    """Write a unit direction and the slope, in roughnesses, of the facet that mirrors it."""
    size = np.sqrt(x * x + y * y + z * z)
    x, y, z = x / size, y / size, z / size
    up = max(z + view[2], 1e-9)
    work[row, 0], work[row, 1], work[row, 2] = x, y, z
    work[row, 3], work[row, 4] = (x + view[0]) / (up * ax), (y + view[1]) / (up * ay)


@compiled_in_place
def _bent_edge(
    start: tuple[float, float, float],
    slope: tuple[float, float],
    view: Doubles,
    ax: float,
    ay: float,
    work: Doubles,
) -> float:
    """Return the part of the edge from a start to work[0], whose image among slopes is bent.

    The ends still to come are kept in `work`, the next one on top.
    """
    sx, sy, sz = start
    u, v = slope
    top, total = 0, 0.0
    while top >= 0:
        x, y, z = sx + work[top, 0], sy + work[top, 1], sz + work[top, 2]
        if top < MOST_HALVINGS and x * x + y * y + z * z > 1e-18:
            _aim(x, y, z, view, ax, ay, work, top + 1)
            bow = _bow(u, v, work[top + 1, 3], work[top + 1, 4], work[top, 3], work[top, 4])
            if np.isnan(bow):
                top += 1
                continue
            total += bow
        total += _edge(u, v, 1.0, work[top, 3], work[top, 4], 1.0)
        sx, sy, sz = work[top, 0], work[top, 1], work[top, 2]
        u, v = work[top, 3], work[top, 4]
        top -= 1
    return total


@compiled_in_place
def _bow(au: float, av: float, mu: float, mv: float, bu: float, bv: float) -> float:
    """Return the facets between a piece through m and the chord from a to b; nan: cut it further.

    Positive where the polygon gains by it when its corners run anticlockwise.
    """
    x, y = bu - au, bv - av
    squared = x * x + y * y
    if squared < 1e-18:
        return 0.0
    # twice the triangle a, m, b; its area is 3/4 of the bow's
    bow = (y * (mu - au) - x * (mv - av)) * 2 / 3
    share = min(1.0, max(0.0, -(au * x + av * y) / squared))
    nearest = 1 + (au + share * x) ** 2 + (av + share * y) ** 2
    held = abs(bow) / (np.pi * nearest * nearest)
    if held > CURVED or (held > STRAIGHT and squared > LONG * nearest):
        return float(np.nan)
    # by the density in the bow's middle, 3/5 of its height above the chord
    u, v = 0.2 * (au + bu) + 0.6 * mu, 0.2 * (av + bv) + 0.6 * mv
    density = 1 + u * u + v * v
    return float(bow / (np.pi * density * density))
