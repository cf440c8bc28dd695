"""How much of a lobe a polygon fills, exactly: Lambert's formula for matte faces and facets.

Light that a matte point gets from a polygon is Lambert's sum over its edges (J. H. Lambert,
*Photometria*, 1760). The same sum gives how many facets of a GGX surface mirror it: with
slopes measured in roughnesses their density is 1 / (pi (1 + x2 + y2)2), which is how a matte
point weighs a plane at height 1. Mirroring bends straight edges slightly; they are cut into
pieces short enough to be straight.
"""

from __future__ import annotations

import numpy as np

from lightplan.arrays import Doubles
from lightplan.compiled import compiled
from lightplan.geometry.clipping import dot

CURVED = 2e-5  # share of the lobe that the bend of an edge may be wrong by
MOST_HALVINGS = 7


@compiled
def matte_area(polygon: Doubles, count: int) -> float:
    """Return the view factor of a polygon above the horizon (z > 0) in the point's frame."""
    total = 0.0
    for i in range(count):
        total += _edge(polygon[i], polygon[(i + 1) % count])
    return abs(total)


@compiled
def _edge(a: Doubles, b: Doubles) -> float:
    """Return one edge's part: its angle times how level its plane is, over 2 pi."""
    x, y, z = a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]
    size = np.sqrt(x * x + y * y + z * z)
    if size < 1e-300:
        return 0.0
    along = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return float(np.arctan2(size, along) * z / (size * 2 * np.pi))


@compiled
def _slope(direction: Doubles, view: Doubles, ax: float, ay: float, slope: Doubles) -> None:
    """Write the slope of the facet that mirrors a unit direction to the viewer, in roughnesses."""
    up = max(direction[2] + view[2], 1e-9)
    slope[0] = (direction[0] + view[0]) / (up * ax)
    slope[1] = (direction[1] + view[1]) / (up * ay)
    slope[2] = 1.0


@compiled
def lobe_area(
    polygon: Doubles, count: int, view: Doubles, ax: float, ay: float, work: Doubles
) -> float:
    """Return the share of facets that mirror a polygon above the horizon to the viewer.

    Parameters
    ----------
    polygon : (v, 3) float
        In the frame of the spot, z along its normal.
    view : (3,) float
        Unit direction to the viewer.
    work : (2, MOST_HALVINGS + 3, 3) float
        Room to work in.
    """
    total = 0.0
    for i in range(count):
        total += _bent_edge(polygon[i], polygon[(i + 1) % count], view, ax, ay, work)
    return abs(total)


@compiled
def _bent_edge(a: Doubles, b: Doubles, view: Doubles, ax: float, ay: float, work: Doubles) -> float:
    """Return the part of an edge whose image among the slopes is bent."""
    ways, slopes = work[0], work[1]  # the ends still to come, the next one on top
    start, first = ways[MOST_HALVINGS + 2], slopes[MOST_HALVINGS + 2]
    size_a, size_b = np.sqrt(dot(a, a)), np.sqrt(dot(b, b))
    for c in range(3):
        start[c] = a[c] / size_a
        ways[0, c] = b[c] / size_b
    _slope(start, view, ax, ay, first)
    _slope(ways[0], view, ax, ay, slopes[0])
    top, total = 0, 0.0
    while top >= 0:
        middle, mid = ways[top + 1], slopes[top + 1]
        for c in range(3):
            middle[c] = start[c] + ways[top, c]
        size = np.sqrt(dot(middle, middle))
        if size > 1e-9 and top < MOST_HALVINGS:
            for c in range(3):
                middle[c] /= size
            _slope(middle, view, ax, ay, mid)
            if _is_bent(first, mid, slopes[top]):
                top += 1
                continue
        total += _edge(first, slopes[top])
        for c in range(3):
            start[c], first[c] = ways[top, c], slopes[top, c]
        top -= 1
    return total


@compiled
def _is_bent(a: Doubles, middle: Doubles, b: Doubles) -> bool:
    """Return whether the piece cut off by the chord from a to b holds facets that count."""
    x, y = b[0] - a[0], b[1] - a[1]
    squared = x * x + y * y
    if squared < 1e-18:
        return False
    # twice the triangle a, middle, b; its area is 3/4 of the bow's
    bow = abs(x * (middle[1] - a[1]) - y * (middle[0] - a[0])) * 2 / 3
    share = min(1.0, max(0.0, -(a[0] * x + a[1] * y) / squared))
    nearest = (a[0] + share * x) ** 2 + (a[1] + share * y) ** 2
    return bool(bow > CURVED * np.pi * (1 + nearest) ** 2)
