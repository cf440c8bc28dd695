"""How much of a point's view a small patch fills (point-to-patch view factors).

Far patches use the kernel cos cos A / (pi r2); near ones Lambert's polygon formula, which
is exact for a flat patch (Lambert 1760; Baum, Rushmeier and Winget, SIGGRAPH 1989).
"""

from __future__ import annotations

from typing import TypeVar

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry.shapes import Cells

_Array = TypeVar("_Array", Doubles, Singles)
PAIRS_AT_ONCE = 8192  # in the exact formula: what stays near the processor
LEVEL_MM = 0.02  # a point less than this before a patch's plane lies in it


def transfer(
    points: Floats,
    normals: Floats,
    cells: Cells,
    *,
    near: float,
    spread: Doubles | None = None,
) -> Singles:
    """Return view factors from points to cells, occlusion left out.

    Parameters
    ----------
    points, normals : (n, 3) float
        Receiving points [mm] and their unit normals.
    cells : Cells
        m patches; only their front sides are seen.
    near : float
        Squared distance over a patch's area below which the exact formula is used.
    spread : (n, 4, 3) float or None
        Where a point stands for a patch: four points of it, over which near factors are
        averaged.

    Returns
    -------
    (n, m) float32
    """
    factors, is_near = far_kernel(points, normals, cells, near)
    row, col = np.nonzero(is_near)
    if row.size:
        factors[row, col] = _near(points, normals, cells, spread, row, col)
    return factors


def far_kernel(
    points: Floats, normals: Floats, cells: Cells, near: float
) -> tuple[Singles, Booleans]:
    """Return the kernel cos cos A / (pi r2), and which pairs are too near for it."""
    start, facing = points.astype(np.float32), normals.astype(np.float32)
    centres, away = cells.centres.astype(np.float32), cells.normals.astype(np.float32)
    # (c - p).n and (p - c).m as matrix products, relative to a common middle for precision
    leave = facing @ centres.T - np.sum(facing * start, axis=1)[:, None]
    arrive = start @ away.T - np.sum(centres * away, axis=1)[None, :]
    arrive[arrive < LEVEL_MM] = 0.0  # rounding must not let a face see itself or its back
    squared = (
        np.sum(start**2, axis=1)[:, None] + np.sum(centres**2, axis=1)[None] - 2 * start @ centres.T
    )
    np.maximum(squared, 1.0, out=squared)
    areas = cells.areas.astype(np.float32)
    is_near = (squared < near * areas) | (squared < near * _longest(cells) / 2)
    factors = np.maximum(leave, 0.0) * np.maximum(arrive, 0.0)
    factors *= areas / np.float32(np.pi)
    factors /= squared * squared
    # a point level with a patch, or a patch that dips below the horizon, needs the exact form
    is_near &= (leave > -np.sqrt(_longest(cells))) & (arrive > 0.0) & (areas > 0)
    return factors, is_near


def _longest(cells: Cells) -> Singles:
    """Squared longer diagonal of each patch."""
    diagonal = cells.corners[:, 2] - cells.corners[:, 0]
    return np.asarray(np.sum(diagonal**2, axis=1), np.float32)


def _near(
    points: Floats, normals: Floats, cells: Cells, spread: Doubles | None, row: Integers,
    col: Integers,
) -> Doubles:  # fmt: skip
    corners, facing = cells.corners[col], normals[row].astype(float)
    share = _present(cells)[col]
    if spread is None:
        return np.asarray(share * pair_polygon(points[row].astype(float), facing, corners))
    starts, middle = spread[row], cells.corners.mean(axis=1)[col]
    seen = np.matmul(starts - middle[:, None], cells.normals[col][..., None])[..., 0] > LEVEL_MM
    pair, corner = np.nonzero(seen)
    factors = np.zeros(seen.shape)
    factors[pair, corner] = pair_polygon(starts[pair, corner], facing[pair], corners[pair])
    return np.asarray(share * factors.sum(axis=1) / 4)


def _present(cells: Cells) -> Doubles:
    """Share of each patch's outline that is really there."""
    one, other = (cells.corners[:, i + 2] - cells.corners[:, i] for i in (0, 1))
    across = _cross(one.T, other.T)
    return np.minimum(1.0, cells.areas / np.maximum(np.sqrt(dot(across, across)) / 2, 1e-9))


def pair_polygon(points: Doubles, normals: Doubles, corners: Doubles) -> Doubles:
    """Return the exact view factor from each point to its own flat polygon.

    The part below the point's horizon is cut off; a patch is seen from either side.

    Parameters
    ----------
    points, normals : (n, 3) float
    corners : (n, k, 3) float
        Convex polygons.

    Returns
    -------
    (n,) float

    Examples
    --------
    A 2 x 2 square at distance 1 over the point (Howell, configuration B-3 four times):

    >>> square = np.array([[[-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1.0]]])
    >>> up = np.array([[0.0, 0.0, 1.0]])
    >>> float(pair_polygon(0 * up, up, square).round(9)[0])
    0.554126424
    """
    factors = np.zeros(len(points))
    for start in range(0, len(points), PAIRS_AT_ONCE):
        part = slice(start, start + PAIRS_AT_ONCE)
        factors[part] = _seen(corners[part] - points[part, None], normals[part])
    return factors


def _seen(rays: Doubles, normals: Doubles) -> Doubles:
    """View factors (n,) of polygons given by rays (n, k, 3) to their corners."""
    # coordinates first from here on: (3, k, n)
    ray, facing = np.ascontiguousarray(rays.transpose(2, 1, 0)), normals.T[:, None]
    height = dot(ray, facing)
    above = height > 0
    whole = above.all(axis=0)
    if whole.all():
        return _above(ray, facing)
    factors = np.zeros(len(rays))
    # `compress` keeps the coordinates apart, which plain indexing would not
    factors[whole] = _above(ray.compress(whole, 2), facing.compress(whole, 2))
    cut = ~whole & above.any(axis=0)
    if cut.any():
        some = (values.compress(cut, -1) for values in (ray, facing, height))
        factors[cut] = _cut_off(*some)
    return factors


def _above(ray: Doubles, normals: Doubles) -> Doubles:
    """Polygons wholly above the horizon."""
    following = _following(ray)
    length = np.sqrt(dot(ray, ray))
    both = length * _following(length)
    # n . (a x b) = (n x a) . b: one cross product per corner serves two edges
    level, along = dot(_cross(normals, ray), following), dot(ray, following)
    size = np.sqrt(np.maximum(both**2 - along**2, 0.0))
    good = size > 1e-9 * both
    edges = np.arctan2(size, along) * level / np.where(good, size, np.inf)
    return np.asarray(np.abs(edges.sum(axis=0)) / (2 * np.pi))


def _cut_off(ray: Doubles, normals: Doubles, height: Doubles) -> Doubles:
    """Polygons that cross the horizon: the rest is closed along the horizon."""
    a, b, ha, hb = ray, _following(ray), height, _following(height)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = a + ha / (ha - hb) * (b - a)
    down, up = (ha > 0) & (hb <= 0), (ha <= 0) & (hb > 0)
    every = np.arange(ray.shape[2])
    leave, enter = (level[:, turn.argmax(axis=0), every] for turn in (down, up))
    first = np.concatenate([np.where(up, level, a), leave[:, None]], axis=1)
    last = np.concatenate([np.where(down, level, b), enter[:, None]], axis=1)
    edges = _edge(first, last, normals)
    edges[:-1][(ha <= 0) & (hb <= 0)] = 0.0
    return np.asarray(np.abs(edges.sum(axis=0)) / (2 * np.pi))


def _following(corners: Doubles) -> Doubles:
    """For each corner (..., k, n) the next one."""
    return np.concatenate([corners[..., 1:, :], corners[..., :1, :]], axis=-2)


def _edge(a: Doubles, b: Doubles, normals: Doubles) -> Doubles:
    """Angle of each edge as seen from the point, times how level its plane is."""
    across = _cross(a, b)
    size = np.sqrt(dot(across, across))
    angle, level = np.arctan2(size, dot(a, b)), dot(across, normals)
    return np.where(size > 1e-12, angle * level / np.maximum(size, 1e-12), 0.0)


def dot(a: _Array, b: _Array) -> _Array:
    """Return a . b, coordinates first."""
    total: _Array = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return total


def _cross(a: Doubles, b: Doubles) -> Doubles:
    """Return a x b, coordinates first."""
    result = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        result[i] = a[j] * b[k] - a[k] * b[j]
    return result
