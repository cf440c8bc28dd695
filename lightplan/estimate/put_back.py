"""How a sheet was put back, from its corners in two frames of a camera that stood still."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.lens import PICTURE_PX

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.estimate.seen import SeenSheet
    from lightplan.scene import Sheet

_ROUNDS = 6
CORNER_PX = 0.4
"""Standard deviation of a corner from frame to frame, in a picture of `PICTURE_PX`: less than that
of its place, as what bends or hides an edge does so in both."""
DOUBTED = 15.0
"""Squared residuals of five degrees of freedom that one still camera in a hundred exceeds."""
LEAST_MM, LEAST_DEG = 0.1, 0.03
"""How surely a sheet's place is known at the best: a lens bends, paper is cut askew. Ours."""


@dataclass(frozen=True, eq=False)
class PutBack:
    """A sheet's step along x, along y (mm) and its turn (degrees), with their errors.

    Parameters
    ----------
    step, sigma : (3,) float
    """

    step: Doubles
    sigma: Doubles


@dataclass(frozen=True, eq=False)
class Laid(PutBack):
    """The same, and what that does.

    Parameters
    ----------
    rows : (n, 3, 3) float
        Stops in each cell and channel for a unit of each.
    """

    rows: Doubles


def put_back(sheet: Sheet, before: Doubles, after: Doubles, size_px: float) -> PutBack | None:
    """Return how a sheet lies otherwise; None where the camera cannot have stood still.

    A still camera sees the plane of the sheet by one projection: the earlier corners give it,
    and the later ones must be those of the same rectangle, shifted and turned on that plane.

    Parameters
    ----------
    sheet : Sheet
    before, after : (4, 2) float
        (row, column) of far left, far right, near right, near left, lens bending out.
    size_px : float
        Long side of the picture.
    """
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half
    plane = _projection(corners, before)
    sigma = np.sqrt(2.0) * CORNER_PX * size_px / PICTURE_PX

    def seen(step: Doubles) -> Doubles:
        turn = np.radians(step[2])
        cosine, sine = np.cos(turn), np.sin(turn)
        there = corners @ np.array([[cosine, sine], [-sine, cosine]]) + step[:2]
        return _applied(plane, there).ravel()

    step, small = np.zeros(3), np.array([0.1, 0.1, 0.01])
    slopes = np.zeros((8, 3))
    for _ in range(_ROUNDS):
        now = seen(step)
        slopes = np.stack(
            [(seen(step + d) - now) / s for d, s in zip(np.diag(small), small, strict=True)], 1
        )
        step = step + np.linalg.lstsq(slopes, after.ravel() - now, rcond=None)[0]
    left = (after.ravel() - seen(step)) / sigma
    if float(left @ left) > DOUBTED:
        return None
    errors = sigma * np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes)))
    return PutBack(step, np.hypot(errors, [LEAST_MM, LEAST_MM, LEAST_DEG]))


def _projection(points: Doubles, seen: Doubles) -> Doubles:
    """Return the projection (3, 3) that takes four points of a plane to where they are seen."""
    rows = []
    for (x, y), (u, v) in zip(points, seen, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    found = np.linalg.solve(np.array(rows, float), seen.ravel())
    return np.append(found, 1.0).reshape(3, 3)


def _applied(plane: Doubles, points: Doubles) -> Doubles:
    there = np.column_stack([points, np.ones(len(points))]) @ plane.T
    return np.asarray(there[:, :2] / there[:, 2:])


def gradients(
    seen: SeenSheet, model: Doubles | None = None, slopes: Doubles | None = None
) -> Doubles:
    """Return how each cell's levels change along x and y, by its nearest of the same material.

    Stops a mm, (n, 3, 2): of a plane through the nearest eight cells and itself. Cells of a thin
    line do not tell what changes across it: that is taken from a model.

    Parameters
    ----------
    seen : SeenSheet
    model : (n, 3) float or None
        Levels by the light engine. [stops]
    slopes : (n, 3, 2) float or None
        How those change along x and y.
    """
    found = np.zeros((*seen.stops.shape, 2)) if slopes is None else slopes.copy()
    levels = seen.stops if model is None else seen.stops - model
    for material in (True, False):
        at = np.flatnonzero(seen.is_foil == material)
        if len(at) < 6:
            continue
        x, y = seen.x_mm[at], seen.y_mm[at]
        near = np.argsort(np.hypot(x[:, None] - x, y[:, None] - y), axis=1)[:, :9]
        away = np.stack([x[near] - x[:, None], y[near] - y[:, None]], -1)
        away -= away.mean(axis=1, keepdims=True)
        rise = levels[at][near]
        rise = rise - rise.mean(axis=1, keepdims=True)
        reach = (2 * seen.spread_mm) ** 2 * np.eye(2)  # against cells that lie in one line
        normal = np.swapaxes(away, 1, 2) @ away + 0.1 * reach
        own = np.linalg.solve(normal, np.swapaxes(away, 1, 2) @ rise)
        found[at] += np.swapaxes(own, 1, 2)
    return found
