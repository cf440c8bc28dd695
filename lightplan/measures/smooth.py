"""The sheet's own smooth level: a plane or a quadratic that spots and edges do not move."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


def smooth_level(stops: Doubles, surface: Doubles, rounds: int = 2) -> Doubles:
    """Return a plane or quadratic through levels, little moved by what stands out.

    Least squares, then rounds of reweighting with Tukey's biweight at 4.685 robust
    standard deviations (Holland and Welsch 1977).

    Parameters
    ----------
    stops : (..., n) float
    surface : (n, k) float
        Columns of the surface at the same cells.
    """
    return each_times(surface, smooth_coefficients(stops, surface, rounds))


def smooth_coefficients(stops: Doubles, surface: Doubles, rounds: int = 2) -> Doubles:
    """Return the coefficients (..., k) of `smooth_level`."""
    count, size = surface.shape
    if not count:
        return np.zeros((*stops.shape[:-1], size))
    ridge = 1e-9 * count * np.eye(size)
    across = np.ascontiguousarray(surface.T)

    def fitted(weighted: Doubles) -> Doubles:
        right = weighted @ stops[..., None]
        return np.asarray(np.linalg.solve(weighted @ surface + ridge, right)[..., 0])

    found = fitted(across)
    for _ in range(rounds):
        off = np.abs(stops - each_times(surface, found))
        typical = np.partition(off, count // 2)[..., count // 2, None]
        scale = 4.685 * np.maximum(1.4826 * typical, 1e-4)
        weight = np.square(1.0 - np.square(np.minimum(off / scale, 1.0)))
        found = fitted(across * weight[..., None, :])
    return found


def each_times(matrix: Doubles, vectors: Doubles) -> Doubles:
    """Return a matrix (n, k) times each vector (..., k), one by one.

    One product of matrices would be quicker, but a picture's numbers would then hang, in
    their last digits, on how many others are measured with it.
    """
    return np.asarray((matrix @ vectors[..., None])[..., 0])
