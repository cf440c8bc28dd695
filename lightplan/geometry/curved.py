"""What balls and cones share: where rays arrive on them, and their tiles."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Cells, Crossing, Shape

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Doubles, Floats, Singles, Vector


def with_place(shape: Shape, origins: Floats, directions: Floats, distance: Singles) -> Crossing:
    """Add where on a curved shape its rays arrive."""
    across = np.zeros(distance.shape, np.float32)
    up = np.zeros(distance.shape, np.float32)
    from_front = np.zeros(distance.shape, bool)
    hit = np.nonzero(np.isfinite(distance))
    if hit[0].size:
        start = np.broadcast_to(origins, directions.shape)[hit]
        away = directions[hit]
        points = start + distance[hit][:, None] * away
        across[hit], up[hit] = shape.surface_coordinates(points)
        from_front[hit] = np.sum(away * shape.normals_at(points), axis=-1) < 0
    return Crossing(distance, across, up, from_front)


def tiles(
    at: Callable[[Doubles, Doubles], Doubles],
    rows: int,
    cols: int,
    area: float,
    centre: Vector,
    *,
    outward: bool,
) -> Cells:
    """Tile a curved shape given by a function of (row, column) edges."""
    row, col = (v.ravel().astype(float) for v in np.mgrid[0:rows, 0:cols])
    corners = np.stack(
        [at(row + dr, col + dc) for dr, dc in ((1, 0), (1, 1), (0, 1), (0, 0))], axis=1
    )
    centres = at(row + 0.5, col + 0.5)
    normals = centres - np.asarray(centre)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals = normals if outward else -normals
    return Cells(centres, normals, np.full(len(centres), area), corners)
