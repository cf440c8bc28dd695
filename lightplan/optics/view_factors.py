"""Configuration factors from a small receiver to shapes, and Lambert's polygon formula.

A receiver that sees a uniform Lambertian source of luminance L under the factor F gets the
illuminance E = pi L F. Letters of the catalogue: J. R. Howell, "A Catalog of Radiation
Heat Transfer Configuration Factors".
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Doubles

_PAIRS_AT_ONCE = 16384
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
    edges = [_edge_forms(corners[:, i - 1], corners[:, i]) for i in range(corners.shape[1])]
    plane = _plane_form(corners)
    step = max(1, _PAIRS_AT_ONCE // len(corners))
    for start in range(0, len(points), step):
        part = slice(start, start + step)
        result[part] = _block(points[part], normals[part], corners, edges, plane)
    return result


def _block(
    points: Doubles, normals: Doubles, corners: Doubles, edges: list[_EdgeForms], plane: Doubles
) -> Doubles:
    receiver = _Receiver(points, normals)
    own = np.sum(normals * points, axis=1)[:, None]
    heights = [normals @ corners[:, i].T - own for i in range(corners.shape[1])]
    lowest, highest = np.minimum.reduce(heights), np.maximum.reduce(heights)
    total = np.zeros(lowest.shape)
    for edge in edges:
        total += _edge(receiver, edge)
    row, col = np.nonzero((lowest < 0.0) & (highest > 0.0))
    if len(row):
        chosen = np.stack([height[row, col] for height in heights])
        total[row, col] = _clipped(points[row], normals[row], corners[col], chosen)
    in_plane = np.abs(receiver.affine @ plane) <= _FLAT
    total[(highest <= 0.0) | in_plane] = 0.0
    return np.asarray(np.abs(total) / (2.0 * np.pi))


class _Receiver:
    """Rows of the matrix products, one per receiver."""

    def __init__(self, points: Doubles, normals: Doubles) -> None:
        ones = np.ones((len(points), 1))
        self.affine = np.hstack([ones, points])
        self.squared = np.hstack([self.affine, np.sum(points * points, axis=1, keepdims=True)])
        self.moment = np.hstack([normals, np.cross(normals, points)])


@dataclass(frozen=True, eq=False)
class _EdgeForms:
    """Columns of the matrix products, one per polygon, for the edge from corner a to b.

    With p the receiver, (a - p) x (b - p) = a x b + p x (a - b) and
    (a - p) . (b - p) = a . b - p . (a + b) + p . p.
    """

    cross: tuple[Doubles, Doubles, Doubles]
    along: Doubles
    dot: Doubles


def _edge_forms(start: Doubles, end: Doubles) -> _EdgeForms:
    cross, back = np.cross(start, end).T, (start - end).T
    zero = np.zeros(len(start))
    return _EdgeForms(
        cross=(
            np.stack([cross[0], zero, back[2], -back[1]]),
            np.stack([cross[1], -back[2], zero, back[0]]),
            np.stack([cross[2], back[1], -back[0], zero]),
        ),
        along=np.vstack([cross, back]),
        dot=np.vstack([np.sum(start * end, axis=1), -(start + end).T, zero + 1.0]),
    )


def _edge(receiver: _Receiver, forms: _EdgeForms) -> Doubles:
    """Return angle times cosine (n, m) of one edge of each polygon."""
    size = np.square(receiver.affine @ forms.cross[0])
    for component in forms.cross[1:]:
        part = receiver.affine @ component
        size += np.square(part, out=part)
    np.sqrt(size, out=size)
    return _angle_times_cosine(receiver.moment @ forms.along, size, receiver.squared @ forms.dot)


def _angle_times_cosine(along: Doubles, size: Doubles, dot: Doubles) -> Doubles:
    """Return the angle between two arms times the cosine of their cross product's direction.

    `along` is the cross product's part along the normal, `size` its length, `dot` the arms'
    inner product. The arc tangent is many times faster than arctan2 and as exact here.
    """
    np.maximum(size, 1e-150, out=size)  # an eye on the edge sees no angle
    along /= size
    dot /= size
    np.arctan(dot, out=dot)
    np.subtract(np.pi / 2.0, dot, out=dot)
    dot *= along
    return dot


def _plane_form(corners: Doubles) -> Doubles:
    """Return (4, m): distance to each polygon's plane as a share of the polygon's size."""
    arms = corners - corners[:, :1]
    area = np.sum(np.cross(arms, np.roll(arms, -1, axis=1)), axis=1)
    size = np.sqrt(np.max(np.sum(arms * arms, axis=-1), axis=1)) * np.linalg.norm(area, axis=1)
    form = np.vstack([-np.sum(area * corners[:, 0], axis=1), area.T])
    # A polygon without area has no plane: every receiver counts as lying in it.
    return np.asarray(np.divide(form, size, out=np.zeros_like(form), where=size > 0.0))


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
