"""How much of a point's view a small patch fills (point-to-patch view factors).

The laws are those of `light.compiled.factors`; here is what they are asked with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np

from lightplan.arrays import Doubles, Floats, Singles
from lightplan.light.compiled import factors as compiled

if TYPE_CHECKING:
    from lightplan.geometry.shapes import Cells

_Array = TypeVar("_Array", Doubles, Singles)
LEVEL_MM = 0.02  # a point less than this before a patch's plane lies in it


def transfer(
    points: Floats, normals: Floats, cells: Cells, *, near: float, spread: Doubles | None = None
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
    factors = np.empty((len(points), len(cells.centres)), np.float32)
    if spread is None:
        spread = np.empty((len(points), 0, 3))
    compiled.to_patches(
        _double(points),
        _double(normals),
        _double(spread),
        _double(cells.centres),
        _double(cells.normals),
        _double(cells.areas),
        _double(cells.corners),
        near,
        LEVEL_MM,
        factors,
    )
    return factors


def _double(values: Floats) -> Doubles:
    return np.ascontiguousarray(values, np.float64)


def dot(a: _Array, b: _Array) -> _Array:
    """Return a . b, coordinates first."""
    total: _Array = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return total
