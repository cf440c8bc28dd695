"""Several shapes asked at once which rays they meet."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import TOUCH_MM, Flat, Shape

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Singles

RAYS_AT_ONCE = 65536  # times shapes: what stays near the processor


def meets(shapes: Sequence[Shape], origins: Singles, directions: Singles) -> Booleans:
    """Return which rays meet each of s shapes, (s, n, k).

    Parameters
    ----------
    origins : (n, 1, 3) float32
    directions : (n, k, 3) float32
    """
    found = np.zeros((len(shapes), *directions.shape[:2]), bool)
    flat = [i for i, shape in enumerate(shapes) if isinstance(shape, Flat)]
    for i, shape in enumerate(shapes):
        if not isinstance(shape, Flat):
            found[i] = np.isfinite(shape.trace(origins, directions).distance)
    most = max(1, RAYS_AT_ONCE // max(found[0].size, 1)) if flat else 1
    for first in range(0, len(flat), most):
        some = flat[first : first + most]
        together = _together(tuple(s for s in (shapes[i] for i in some) if isinstance(s, Flat)))
        found[some] = together.meets(origins, directions)
    return found


class _Flats:
    """s flat shapes."""

    def __init__(self, shapes: tuple[Flat, ...]) -> None:
        self._shapes = shapes
        self._axes = np.array([shape.frame for shape in shapes], np.float32)
        self._centres = np.array([shape.centre for shape in shapes], np.float32)[:, None]
        self._half = np.array([[shape.half_width, shape.half_height] for shape in shapes])

    def meets(self, origins: Singles, directions: Singles) -> Booleans:
        """Return which rays meet each shape, (s, n, k)."""
        count, rays = len(self._shapes), directions.shape[:2]
        step = self._axes.transpose(0, 2, 1).reshape(-1, 3) @ directions.reshape(-1, 3).T
        step = step.reshape(count, 3, *rays)
        start = np.matmul(origins[:, 0] - self._centres, self._axes)[..., None]
        with np.errstate(divide="ignore", invalid="ignore"):
            length = start[:, :, 2] / -step[:, 2]
            x, y = (start[:, :, i] + length * step[:, i] for i in (0, 1))
            half_width, half_height = self._half.T.astype(np.float32)[..., None, None]
            hit = (np.abs(x) <= half_width) & (np.abs(y) <= half_height)
            for i, shape in enumerate(self._shapes):
                if shape.is_round or shape.openings:
                    hit[i] = shape.contains(x[i], y[i])
            hit &= length > TOUCH_MM
        return np.asarray(hit)


@lru_cache(maxsize=64)
def _together(shapes: tuple[Flat, ...]) -> _Flats:
    return _Flats(shapes)
