"""Several shapes asked at once which straight lines they cut and which rays they meet.

Most flat shapes stand wholly beside the lines, or on one side of all of them. That is found
for all together, from the extent of the points in the axes of each.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Singles
from lightplan.geometry.shapes import TOUCH_MM, Flat, Shape

RAYS_AT_ONCE = 65536  # times shapes: what stays near the processor


def cuts(shapes: Sequence[Shape], starts: Floats, ends: Floats) -> list[Booleans | None]:
    """Return for each shape what `blocks` does: (n, m) lines it cuts, or None for no line.

    >>> wall = Flat((0, 0, 5), (1, 0, 0), (0, 1, 0), 2, 2)
    >>> below, above = np.zeros((1, 3)), np.array([[0.0, 0, 9], [9.0, 0, 9]])
    >>> print([v if v is None else v.tolist() for v in cuts((wall,), below, above)])
    [[[True, False]]]
    """
    found: list[Booleans | None] = [None] * len(shapes)
    flat = [i for i, shape in enumerate(shapes) if isinstance(shape, Flat)]
    for i, shape in enumerate(shapes):
        if not isinstance(shape, Flat):
            found[i] = shape.blocks(starts, ends)
    if flat and len(starts) and len(ends):
        together = _together(tuple(shape for shape in shapes if isinstance(shape, Flat)))
        for place, cut in together.cuts(starts, ends):
            found[flat[place]] = cut
    return found


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
        self._frames = np.concatenate([shape.frame.T for shape in shapes])
        centres = np.repeat([shape.centre for shape in shapes], 3, axis=0)
        self._offsets = np.sum(self._frames * centres, axis=1)[:, None]
        self._axes = np.array([shape.frame for shape in shapes], np.float32)
        self._centres = np.array([shape.centre for shape in shapes], np.float32)[:, None]
        self._half = np.array([[shape.half_width, shape.half_height] for shape in shapes])

    def _local(self, points: Floats) -> Doubles:
        """Points in the axes of each shape, (s, 3, n)."""
        places: Doubles = self._frames @ np.asarray(points, float).T - self._offsets
        return places.reshape(len(self._shapes), 3, -1)

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

    def cuts(self, starts: Floats, ends: Floats) -> list[tuple[int, Booleans]]:
        """Return which shapes cut lines, and which lines (n, m)."""
        a, b = self._local(starts), self._local(ends)
        low_a, high_a, low_b, high_b = a.min(axis=2), a.max(axis=2), b.min(axis=2), b.max(axis=2)
        down = (high_a[:, 2] > TOUCH_MM) & (low_b[:, 2] < -TOUCH_MM)
        up = (low_a[:, 2] < -TOUCH_MM) & (high_b[:, 2] > TOUCH_MM)
        low, high = np.minimum(low_a, low_b)[:, :2], np.maximum(high_a, high_b)[:, :2]
        beside = ((low > self._half) | (high < -self._half)).any(axis=1)
        near = np.flatnonzero((down | up) & ~beside)
        found = [(int(i), self._shapes[i].cuts(a[i], b[i])) for i in near]
        return [(i, cut) for i, cut in found if cut is not None]


@lru_cache(maxsize=64)
def _together(shapes: tuple[Flat, ...]) -> _Flats:
    return _Flats(shapes)
