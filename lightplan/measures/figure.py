"""What the light draws on the foil: a gradient, a split, a bright rim."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.levels import LEAST_CELLS, Levels, quantile
from lightplan.measures.smooth import each_times

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.grid import Grid
    from lightplan.measures.maps import SheetPicture
    from lightplan.scene.look import Look


def measures(maps: SheetPicture, levels: Levels, look: Look, wanted: Wanted = None) -> Pairs:
    """Return gradient, split and rim of the foil by name."""
    if levels.foil_count < LEAST_CELLS:
        return {}
    grid = maps.grid
    noise = levels.cell_noise_stops(grid, grid.foil)
    found = _gradient(grid, levels.foil_stops, look.direction_rad, noise)
    if asked(wanted, "split_separation_stops", "split_edge_share", "split_scatter_stops"):
        found |= _split(grid, levels.foil_stops, look.direction_rad, noise)
    if asked(wanted, "foil_rim_stops"):
        found |= _rim(grid, levels.foil_stops, noise)
    return found


def _gradient(grid: Grid, stops: Doubles, direction_rad: float, noise: Doubles) -> Pairs:
    """Return the plane through log2 luminance, weighted with the cover of the cells."""
    inverse, weighted = grid.plane_solver
    fit = each_times(inverse, each_times(weighted, stops))
    off = stops - each_times(grid.plane, fit)
    residual = np.sqrt(np.maximum((off * off).mean(axis=-1) - noise**2, 0.0))
    slope_x, slope_y = (fit[..., i] / grid.half_diagonal_mm for i in (1, 2))
    slope = np.hypot(slope_x, slope_y)
    # Standard error of a least-squares slope, the residual taken as independent.
    scatter = np.maximum(np.hypot(residual, noise), 1e-6)
    error = scatter * math.sqrt(0.5 * max(float(inverse[1, 1] + inverse[2, 2]), 0.0))
    error = error / grid.half_diagonal_mm
    low, high = grid.foil.extent_mm(direction_rad)
    left, right = grid.foil.extent_mm(direction_rad + 0.5 * math.pi)
    cosine, sine = math.cos(direction_rad), math.sin(direction_rad)
    along, across = slope_x * cosine + slope_y * sine, slope_y * cosine - slope_x * sine
    turn = np.where(slope > 0.0, np.degrees(np.arctan2(error, slope)), 180.0)
    return {
        "foil_gradient_stops_per_cm": (10.0 * slope, 10.0 * error),
        "foil_gradient_direction_deg": (np.degrees(np.arctan2(slope_y, slope_x)), turn),
        "foil_gradient_residual_stops": (residual, scatter / math.sqrt(2.0 * stops.shape[-1])),
        "foil_gradient_span_stops": (along * (high - low), error * (high - low)),
        "foil_gradient_across_stops": (across * (right - left), error * (right - left)),
    }


def _split(grid: Grid, stops: Doubles, direction_rad: float, noise: Doubles) -> Pairs:
    """Return the step between two levels along a direction.

    The place of the edge is the cut that leaves the least variance in the two parts
    (Otsu 1979, along the direction in place of grey levels); the separation is
    taken between the halves of the foil, so that it moves smoothly with the light.
    """
    along = grid.foil.along_mm(direction_rad)
    low, high = grid.foil.extent_mm(direction_rad)
    place = (along - low) / max(high - low, 1e-6)
    bright = place > 0.5
    if bright.all() or not bright.any():
        return {}
    halves = [stops.compress(half, axis=-1).mean(axis=-1) for half in (bright, ~bright)]
    order = np.argsort(place, kind="stable")
    count = len(place)
    first = np.arange(1, count)
    sums = stops.take(order[:-1], axis=-1).cumsum(axis=-1)
    gap = stops.sum(axis=-1, keepdims=True) / count * first - sums
    between = gap * gap / (first * (count - first))
    cut = between.argmax(axis=-1)
    edge = 0.5 * (place[order[cut]] + place[order[cut + 1]])
    left_over = np.maximum(stops.var(axis=-1) - between.max(axis=-1), 0.0)
    scatter = np.sqrt(np.maximum(left_over - noise**2, 0.0))
    error = np.hypot(scatter, noise) * 2.0 / math.sqrt(count)
    reach = 1.0 / max(1.0, float(max(grid.shape)))
    return {
        "split_separation_stops": (halves[0] - halves[1], error),
        "split_edge_share": (edge, reach),
        "split_scatter_stops": (scatter, error),
    }


def _rim(grid: Grid, stops: Doubles, noise: Doubles) -> Pairs:
    """Return how far the foil's outer band rises above the foil's middle."""
    outer, inner = (stops.compress(cells, axis=-1) for cells in (grid.rim, ~grid.rim))
    if min(outer.shape[-1], inner.shape[-1]) < 4:
        return {}
    rise = quantile(np.sort(outer), 0.9) - quantile(np.sort(inner), 0.5)
    error = np.hypot(inner.std(axis=-1) / math.sqrt(inner.shape[-1]), noise)
    return {"foil_rim_stops": (rise, error)}
