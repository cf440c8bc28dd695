"""The sheet's own smooth level: a plane or a quadratic that spots and edges do not move."""

from __future__ import annotations

import numpy as np

from lightplan.arrays import Doubles


def smooth_level(stops: Doubles, surface: Doubles, rounds: int = 2) -> Doubles:
    """Return a plane or quadratic through levels, little moved by what stands out.

    Least squares, then rounds of reweighting with Tukey's biweight at 4.685 robust
    standard deviations (Holland and Welsch 1977).

    Parameters
    ----------
    stops : (n,) float
    surface : (n, k) float
        Columns of the surface at the same cells.
    """
    return surface @ smooth_coefficients(stops, surface, rounds)


def smooth_coefficients(stops: Doubles, surface: Doubles, rounds: int = 2) -> Doubles:
    """Return the coefficients of `smooth_level`."""
    if not len(stops):
        return np.zeros(surface.shape[1])
    ridge = 1e-9 * len(stops) * np.eye(surface.shape[1])
    weight = np.ones_like(stops)
    for turn in range(rounds + 1):
        weighted = surface * weight[:, None]
        found = np.linalg.solve(weighted.T @ surface + ridge, weighted.T @ stops)
        if turn == rounds:
            break
        off = stops - surface @ found
        half = len(off) // 2
        scale = max(1.4826 * float(np.partition(np.abs(off), half)[half]), 1e-4)
        weight = np.square(1.0 - np.square(np.minimum(np.abs(off) / (4.685 * scale), 1.0)))
    return np.asarray(found, np.float64)
