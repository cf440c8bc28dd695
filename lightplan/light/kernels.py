"""How much of a point's view a small patch fills (point-to-patch view factors).

Far patches use the kernel cos cos A / (pi r2); near ones Lambert's polygon formula, which
is exact for a flat patch (Lambert 1760; Baum, Rushmeier and Winget, SIGGRAPH 1989).
"""

from __future__ import annotations

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry.shapes import Cells

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
    corners = cells.corners[col]
    whole = np.linalg.norm(
        cross(corners[:, 2] - corners[:, 0], corners[:, 3] - corners[:, 1]), axis=1
    )
    share = np.minimum(1.0, cells.areas[col] / np.maximum(whole / 2, 1e-9))
    facing = normals[row].astype(float)
    if spread is None:
        return np.asarray(share * pair_polygon(points[row].astype(float), facing, corners))
    total = np.zeros(len(row))
    middle = corners.mean(axis=1)
    for corner in range(4):
        start = spread[row, corner]
        seen = np.sum((start - middle) * cells.normals[col], axis=1) > LEVEL_MM
        total += np.where(seen, pair_polygon(start, facing, corners), 0.0)
    return np.asarray(share * total / 4)


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
    ray = corners - points[:, None]
    height = np.einsum("nkc,nc->nk", ray, normals)
    whole = (height > 0).all(axis=1)
    factors = np.zeros(len(points))
    factors[whole] = _above(ray[whole], normals[whole], height[whole])
    cut = np.flatnonzero(~whole & (height > 0).any(axis=1))
    if cut.size:
        factors[cut] = _cut_off(ray[cut], normals[cut], height[cut])
    return factors


def _above(ray: Doubles, normals: Doubles, height: Doubles) -> Doubles:
    """Polygons wholly above the horizon."""
    length = np.sqrt(np.einsum("nkc,nkc->nk", ray, ray))
    # n . (a x b) = (n x a) . b: one cross product per corner serves two edges
    side = cross(normals[:, None], ray)
    total = np.zeros(len(ray))
    count = ray.shape[1]
    for i in range(count):
        j = (i + 1) % count
        level = np.einsum("nc,nc->n", side[:, i], ray[:, j])
        dot = np.einsum("nc,nc->n", ray[:, i], ray[:, j])
        size = np.sqrt(np.maximum((length[:, i] * length[:, j]) ** 2 - dot**2, 0.0))
        good = size > 1e-9 * length[:, i] * length[:, j]
        total += np.where(good, np.arctan2(size, dot) * level / np.where(good, size, 1.0), 0.0)
    return np.abs(total) / (2 * np.pi)


def _cut_off(ray: Doubles, normals: Doubles, height: Doubles) -> Doubles:
    """Polygons that cross the horizon: the rest is closed along the horizon."""
    total = np.zeros(len(ray))
    leave, enter = np.zeros((len(ray), 3)), np.zeros((len(ray), 3))
    count = ray.shape[1]
    for i in range(count):
        j = (i + 1) % count
        a, b, ha, hb = ray[:, i], ray[:, j], height[:, i], height[:, j]
        with np.errstate(divide="ignore", invalid="ignore"):
            level = a + (ha / (ha - hb))[:, None] * (b - a)
        down, up = (ha > 0) & (hb <= 0), (ha <= 0) & (hb > 0)
        first = np.where(up[:, None], level, a)
        last = np.where(down[:, None], level, b)
        both_below = (ha <= 0) & (hb <= 0)
        total += np.where(both_below, 0.0, _edge(first, last, normals))
        leave = np.where(down[:, None], level, leave)
        enter = np.where(up[:, None], level, enter)
    total += _edge(leave, enter, normals)
    return np.abs(total) / (2 * np.pi)


def _edge(a: Doubles, b: Doubles, normals: Doubles) -> Doubles:
    """Angle of one edge as seen from the point, times how level its plane is."""
    across = cross(a, b)
    size = np.sqrt(np.einsum("nc,nc->n", across, across))
    angle = np.arctan2(size, np.einsum("nc,nc->n", a, b))
    level = np.einsum("nc,nc->n", across, normals)
    return np.where(size > 1e-12, angle * level / np.maximum(size, 1e-12), 0.0)


def cross(a: Floats, b: Floats) -> Doubles:
    """Return a x b along the last axis (numpy's own moves axes about, which costs more)."""
    result = np.empty(np.broadcast_shapes(a.shape, b.shape))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        result[..., i] = a[..., j] * b[..., k] - a[..., k] * b[..., j]
    return result
