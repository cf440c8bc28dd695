"""Array types and the checks every public entry makes of them."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lightplan.errors import RigError

Floats: TypeAlias = NDArray[np.floating[Any]]
Doubles: TypeAlias = NDArray[np.float64]
Singles: TypeAlias = NDArray[np.float32]
Integers: TypeAlias = NDArray[np.integer[Any]]
Booleans: TypeAlias = NDArray[np.bool_]
Vector: TypeAlias = tuple[float, float, float]
LARGEST_MM = 1e6  # a kilometre; beyond, squares lose what matters here


def read_only(values: ArrayLike, dtype: Any = np.float64) -> Doubles:
    """Return a read-only contiguous copy of `values`; what is one already comes back itself.

    An artwork is large, and a plan makes hundreds of sheets that differ in their bow alone.

    >>> once = read_only([1, 2])
    >>> once.flags.writeable, read_only(once) is once
    (False, True)
    """
    if isinstance(values, np.ndarray) and values.dtype == dtype:
        flags = values.flags
        if flags.owndata and flags.c_contiguous and not flags.writeable:
            return values
    array = np.array(values, dtype=dtype, order="C")
    array.setflags(write=False)
    return array


def vector(values: object, field: str) -> Vector:
    """Return three numbers of at most a million as a tuple, or raise `RigError` naming `field`.

    >>> vector([0, 1, 2], "position_mm")
    (0.0, 1.0, 2.0)
    """
    try:
        x, y, z = (float(v) for v in values)  # type: ignore[attr-defined]
    except (TypeError, ValueError, OverflowError):
        raise _bad_vector(values, field) from None
    if not all(abs(v) <= LARGEST_MM for v in (x, y, z)):  # NaN too is refused here
        raise _bad_vector(values, field)
    return (x, y, z)


def _bad_vector(values: object, field: str) -> RigError:
    return RigError(
        field=field,
        wanted="three finite numbers [x, y, z], at most a million",
        got=values,
        cure="measure x to the right, y away from you and z up from the sheet's middle",
    )


def smooth_step(values: Floats, low: float, high: float) -> Floats:
    """Return 0 up to `low`, 1 from `high` on, a smooth step between.

    >>> smooth_step(np.array([0.0, 1.5, 2.0, 5.0]), 1.0, 2.0).tolist()
    [0.0, 0.5, 1.0, 1.0]
    """
    t = np.clip((values - low) / (high - low), 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))


def even_picks(weights: NDArray[Any], count: int) -> Integers:
    """Return flat indices of `count` places that each stand for an equal part of all weights.

    A heavy place is picked more than once, a light one perhaps not at all; none where nothing
    weighs. The order is that of the places, so the same weights give the same picks.

    >>> even_picks(np.array([0.0, 1.0, 3.0, 0.0]), 4).tolist()
    [1, 2, 2, 2]
    """
    total = np.cumsum(np.asarray(weights, np.float64).ravel())
    if not len(total) or not total[-1] > 0:
        return np.zeros(0, np.intp)
    wanted = (np.arange(count) + 0.5) / count * total[-1]
    return np.asarray(np.searchsorted(total, wanted), np.intp)
