"""What the light draws on the foil: a gradient, a split, a bright rim."""

from __future__ import annotations

import math

import numpy as np

from lightplan.arrays import Doubles
from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.grid import Grid
from lightplan.measures.levels import LEAST_CELLS, Levels, quantile
from lightplan.measures.maps import Sheet
from lightplan.scene.look import Look


def measures(maps: Sheet, levels: Levels, look: Look, wanted: Wanted = None) -> Pairs:
    """Return gradient, split and rim of the foil by name."""
    if len(levels.foil) < LEAST_CELLS:
        return {}
    grid = maps.grid
    noise = levels.cell_noise_stops(grid, grid.foil)
    found = _gradient(grid, levels.foil_stops, look.direction_rad, noise)
    if asked(wanted, "split_separation_stops", "split_edge_share", "split_scatter_stops"):
        found |= _split(grid, levels.foil_stops, look.direction_rad, noise)
    if asked(wanted, "foil_rim_stops"):
        found |= _rim(grid, levels.foil_stops, noise)
    return found


def _gradient(grid: Grid, stops: Doubles, direction_rad: float, noise: float) -> Pairs:
    """Return the plane through log2 luminance, weighted with the cover of the cells."""
    inverse, weighted = grid.plane_solver
    fit = inverse @ (weighted @ stops)
    off = stops - grid.plane @ fit
    residual = math.sqrt(max(float(np.mean(off * off)) - noise**2, 0.0))
    slope_x, slope_y = (float(v) / grid.half_diagonal_mm for v in fit[1:])
    slope = math.hypot(slope_x, slope_y)
    # Standard error of a least-squares slope, the residual taken as independent.
    scatter = max(math.hypot(residual, noise), 1e-6)
    error = scatter * math.sqrt(0.5 * max(float(inverse[1, 1] + inverse[2, 2]), 0.0))
    error = error / grid.half_diagonal_mm
    low, high = grid.foil.extent_mm(direction_rad)
    left, right = grid.foil.extent_mm(direction_rad + 0.5 * math.pi)
    cosine, sine = math.cos(direction_rad), math.sin(direction_rad)
    along, across = slope_x * cosine + slope_y * sine, slope_y * cosine - slope_x * sine
    turn = math.degrees(math.atan2(error, slope)) if slope > 0.0 else 180.0
    return {
        "foil_gradient_stops_per_cm": (10.0 * slope, 10.0 * error),
        "foil_gradient_direction_deg": (math.degrees(math.atan2(slope_y, slope_x)), turn),
        "foil_gradient_residual_stops": (residual, scatter / math.sqrt(2.0 * len(stops))),
        "foil_gradient_span_stops": (along * (high - low), error * (high - low)),
        "foil_gradient_across_stops": (across * (right - left), error * (right - left)),
    }


def _split(grid: Grid, stops: Doubles, direction_rad: float, noise: float) -> Pairs:
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
    separation = float(stops[bright].mean() - stops[~bright].mean())
    order = np.argsort(place, kind="stable")
    ranked, total = stops[order], float(stops.sum())
    count = len(stops)
    first = np.arange(1, count)
    sums = np.cumsum(ranked)[:-1]
    gap = total / count * first - sums
    between = gap * gap / (first * (count - first))
    cut = int(np.argmax(between))
    edge = 0.5 * float(place[order[cut]] + place[order[cut + 1]])
    left_over = max(float(np.var(stops)) - float(between[cut]), 0.0)
    scatter = math.sqrt(max(left_over - noise**2, 0.0))
    error = math.hypot(scatter, noise) * 2.0 / math.sqrt(count)
    reach = 1.0 / max(1.0, float(max(grid.shape)))
    return {
        "split_separation_stops": (separation, error),
        "split_edge_share": (edge, reach),
        "split_scatter_stops": (scatter, error),
    }


def _rim(grid: Grid, stops: Doubles, noise: float) -> Pairs:
    """Return how far the foil's outer band rises above the foil's middle."""
    outer, inner = stops[grid.rim], stops[~grid.rim]
    if len(outer) < 4 or len(inner) < 4:
        return {}
    rise = quantile(np.sort(outer), 0.9) - quantile(np.sort(inner), 0.5)
    error = math.hypot(float(inner.std()) / math.sqrt(len(inner)), noise)
    return {"foil_rim_stops": (rise, error)}
