"""Configuration factors from a small receiver to shapes, and Lambert's polygon formula.

A receiver that sees a uniform Lambertian source of luminance L under the factor F gets the
illuminance E = pi L F. Letters of the catalogue: J. R. Howell, "A Catalog of Radiation
Heat Transfer Configuration Factors".
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from lightplan.arrays import Booleans, Doubles

_PAIRS_AT_ONCE = 32768
_FLAT = 1e-9
"""A receiver nearer than this share of the polygon's size to its plane sees nothing of it."""


def corner_rectangle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the factor to a parallel rectangle, one corner straight above the receiver.

    Lengths in one unit; catalogue B-3.

    Examples
    --------
    >>> round(float(corner_rectangle(width=1.0, height=1.0, distance=1.0)), 9)
    0.138531606
    """
    a, b = np.asarray(width) / np.asarray(distance), np.asarray(height) / np.asarray(distance)
    root_a, root_b = np.sqrt(1.0 + a * a), np.sqrt(1.0 + b * b)
    total = a / root_a * np.arctan(b / root_a) + b / root_b * np.arctan(a / root_b)
    return np.asarray(total / (2.0 * np.pi))


def centred_rectangle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the factor to a parallel rectangle whose middle is above the receiver."""
    half_width, half_height = np.asarray(width) / 2.0, np.asarray(height) / 2.0
    return 4.0 * corner_rectangle(width=half_width, height=half_height, distance=distance)


def standing_rectangle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the factor to a rectangle that stands on the receiver's plane.

    The foot of one upright edge is `distance` straight in front of the receiver; catalogue
    B-4.
    """
    height, width, distance = (np.asarray(v, float) for v in (height, width, distance))
    slant = np.hypot(height, distance)
    total = np.arctan2(width, distance) - distance / slant * np.arctan2(width, slant)
    return np.asarray(total / (2.0 * np.pi))


def coaxial_disk(*, radius: ArrayLike, distance: ArrayLike, tilt_rad: ArrayLike = 0.0) -> Doubles:
    """Return the factor to a disk whose axis goes through the receiver; catalogue B-12.

    The receiver may be tilted as long as the whole disk stays above its horizon.
    """
    radius, distance = np.asarray(radius, float), np.asarray(distance, float)
    return np.asarray(radius**2 / (radius**2 + distance**2) * np.cos(tilt_rad))


def offset_disk(*, radius: ArrayLike, distance: ArrayLike, offset: ArrayLike) -> Doubles:
    """Return the factor to a parallel disk, its axis `offset` beside the receiver (B-13)."""
    r2, h2, a2 = (np.square(np.asarray(v, float)) for v in (radius, distance, offset))
    total = a2 + h2 + r2
    return np.asarray(0.5 * (1.0 - (a2 + h2 - r2) / np.sqrt(total**2 - 4.0 * r2 * a2)))


def rectangle_solid_angle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the solid angle of a rectangle seen from straight in front of its middle. [sr]"""
    a = np.asarray(width, float) / (2.0 * np.asarray(distance, float))
    b = np.asarray(height, float) / (2.0 * np.asarray(distance, float))
    return np.asarray(4.0 * np.arcsin(a * b / np.sqrt((1.0 + a * a) * (1.0 + b * b))))


def polygon(points: ArrayLike, normals: ArrayLike, vertices: ArrayLike) -> Doubles:
    """Return the factor from each receiver to a flat polygon, cut at the horizon.

    Parameters
    ----------
    points, normals : (n, 3) float
        Receivers and their unit normals.
    vertices : (m, 3) float
        Corners in order, either way round: whichever side faces the receiver is seen.

    Returns
    -------
    (n,) float
        0 to 1; 0 for a receiver in the polygon's plane.
    """
    return polygons(points, normals, np.asarray(vertices, float)[None])[:, 0]


def quads(points: ArrayLike, normals: ArrayLike, corners: ArrayLike) -> Doubles:
    """Return the factors (n, m) from n receivers to m flat quadrilaterals (m, 4, 3).

    As `polygon`, for many at once.
    """
    return polygons(points, normals, corners)


def polygons(points: ArrayLike, normals: ArrayLike, corners: ArrayLike) -> Doubles:
    """Return the factors (n, m) from n receivers to m flat polygons of k corners each.

    Parameters
    ----------
    points, normals : (n, 3) float
        Receivers and their unit normals.
    corners : (m, k, 3) float
        Corners of each polygon in order, either way round.

    Notes
    -----
    J. H. Lambert, "Photometria" (1760): F = 1/(2 pi) sum over edges of the angle under
    which the edge is seen times the cosine between the receiver's normal and the normal of
    the plane through eye and edge. Cross and dot products are bilinear in receiver and
    corner, so they come from matrix products.
    """
    corners = np.asarray(corners, float)
    middle = corners.reshape(-1, 3).mean(axis=0) if corners.size else np.zeros(3)
    corners = corners - middle
    points, normals = np.asarray(points, float) - middle, np.asarray(normals, float)
    result = np.zeros((len(points), len(corners)))
    if not corners.size:
        return result
    step = max(1, _PAIRS_AT_ONCE // len(corners))
    for start in range(0, len(points), step):
        part = slice(start, start + step)
        result[part] = _block(points[part], normals[part], corners)
    return result


def _block(points: Doubles, normals: Doubles, corners: Doubles) -> Doubles:
    heights = np.stack([normals @ corners[:, i].T for i in range(corners.shape[1])])
    heights -= np.sum(normals * points, axis=1)[None, :, None]
    lowest, highest = heights.min(axis=0), heights.max(axis=0)
    total = np.zeros(lowest.shape)
    for side in range(corners.shape[1]):
        total += _edge(points, normals, corners[:, side - 1], corners[:, side])
    row, col = np.nonzero((lowest < 0.0) & (highest > 0.0))
    if len(row):
        total[row, col] = _clipped(points[row], normals[row], corners[col], heights[:, row, col])
    total[(highest <= 0.0) | _in_plane(points, corners)] = 0.0
    return np.asarray(np.abs(total) / (2.0 * np.pi))


def _edge(points: Doubles, normals: Doubles, start: Doubles, end: Doubles) -> Doubles:
    """Return angle times cosine (n, m) of the edges from `start` to `end`, both (m, 3)."""
    ones = np.ones((len(points), 1))
    cross, back = np.cross(start, end), start - end
    moved = np.hstack([ones, points])
    zero = np.zeros(len(start))
    # (start - p) x (end - p) = start x end + p x (start - end), one component at a time.
    squared = np.square(moved @ [cross[:, 0], zero, back[:, 2], -back[:, 1]])
    squared += np.square(moved @ [cross[:, 1], -back[:, 2], zero, back[:, 0]])
    squared += np.square(moved @ [cross[:, 2], back[:, 1], -back[:, 0], zero])
    along = np.hstack([normals, np.cross(normals, points)]) @ np.hstack([cross, back]).T
    dot = np.hstack([moved, np.sum(points * points, axis=1, keepdims=True)]) @ np.vstack(
        [np.sum(start * end, axis=1), -(start + end).T, zero + 1.0]
    )
    return _angle_times_cosine(along, np.sqrt(squared), dot)


def _angle_times_cosine(along: Doubles, size: Doubles, dot: Doubles) -> Doubles:
    """Return the angle between two arms times the cosine of their cross product's direction.

    `along` is the cross product's part along the normal, `size` its length, `dot` the arms'
    inner product. The arc tangent is many times faster than arctan2 and as exact here.
    """
    size = np.maximum(size, np.finfo(float).tiny ** 0.5)  # an eye on the edge sees no angle
    along /= size
    dot /= size
    return along * (np.pi / 2.0 - np.arctan(dot))


def _in_plane(points: Doubles, corners: Doubles) -> Booleans:
    """Return (n, m): whether a receiver lies in a polygon's plane."""
    arms = corners - corners[:, :1]
    area = np.sum(np.cross(arms, np.roll(arms, -1, axis=1)), axis=1)
    height = points @ area.T - np.sum(area * corners[:, 0], axis=1)
    size = np.sqrt(np.max(np.sum(arms * arms, axis=-1), axis=1))
    return np.asarray(np.abs(height) <= _FLAT * size * np.linalg.norm(area, axis=1))


def _clipped(points: Doubles, normals: Doubles, corners: Doubles, heights: Doubles) -> Doubles:
    """Return the edge sums (q,) of receiver-polygon pairs that the horizon cuts.

    Parameters
    ----------
    points, normals : (q, 3) float
    corners : (q, k, 3) float
    heights : (k, q) float
        Of the corners above the horizon.

    Notes
    -----
    Each edge is cut to its part above the horizon. The cut ends lie on one line, so the
    edges along the horizon add up as signed angles seen from the receiver, in any order;
    they are taken to and from the first cut.
    """
    arms = corners - points[:, None, :]
    total = np.zeros(len(points))
    pivot = np.full(points.shape, np.nan)
    for side in range(arms.shape[1]):
        one, two = arms[:, side - 1], arms[:, side]
        low, high = heights[side - 1], heights[side]
        starts, ends = low > 0.0, high > 0.0
        cuts = starts != ends
        share = np.divide(low, low - high, out=np.zeros_like(low), where=cuts)
        cut = one + share[:, None] * (two - one)
        seen = np.flatnonzero(starts | ends)
        first = np.where(starts[:, None], one, cut)[seen]
        last = np.where(ends[:, None], two, cut)[seen]
        cross = np.cross(first, last)
        along = np.sum(normals[seen] * cross, axis=1)
        size, dot = np.linalg.norm(cross, axis=1), np.sum(first * last, axis=1)
        total[seen] += _angle_times_cosine(along, size, dot)
        pivot = np.where((cuts & np.isnan(pivot[:, 0]))[:, None], cut, pivot)
        turn = _turn(normals, cut, pivot)
        total += np.where(cuts, np.where(starts, turn, -turn), 0.0)
    return total


def _turn(normals: Doubles, one: Doubles, two: Doubles) -> Doubles:
    """Return the signed angle from `one` to `two` about the normals (NaN where one is)."""
    along = np.sum(normals * np.cross(one, two), axis=1)
    return np.asarray(np.arctan2(along, np.sum(one * two, axis=1)))
