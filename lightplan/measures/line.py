"""Foil against stock along a line on the sheet, and where the contrast flips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import BadInput
from lightplan.measures.levels import LEAST_CELLS, Levels

if TYPE_CHECKING:
    from lightplan.measures.maps import SheetMaps


@dataclass(frozen=True, eq=False)
class LineContrast:
    """Contrast along a line.

    Parameters
    ----------
    distance_mm : (n,) float
        From the start of the line.
    stops : (n,) float
        Foil above paper, NaN where no foil is near.
    flips_mm : tuple of float
        Distances at which the contrast passes through nought: the foil vanishes there.
    """

    distance_mm: Doubles
    stops: Doubles
    flips_mm: tuple[float, ...]


def contrast_along(
    maps: SheetMaps,
    *,
    start_mm: tuple[float, float],
    end_mm: tuple[float, float],
    samples: int = 121,
) -> LineContrast:
    """Return the foil's level above the paper's along a line.

    Foil is averaged over the cells near the line (Gaussian weights, one cell wide);
    paper is its smooth quadratic level at the same place.
    """
    grid, levels = maps.grid, Levels.of(maps)
    if min(levels.foil_count, levels.paper_count) < LEAST_CELLS:
        raise BadInput(
            field="maps",
            wanted="a sheet that shows foil and paper",
            got="one of them",
            cure="check the artwork",
        )
    share = np.linspace(0.0, 1.0, samples)
    x = start_mm[0] + share * (end_mm[0] - start_mm[0])
    y = start_mm[1] + share * (end_mm[1] - start_mm[1])
    cell = max(maps.width_mm / grid.shape[1], maps.height_mm / grid.shape[0])
    apart = (x[:, None] - grid.foil.x_mm) ** 2 + (y[:, None] - grid.foil.y_mm) ** 2
    weight = np.exp(-0.5 * apart / cell**2) * grid.foil.cover
    total = weight.sum(axis=1)
    near = total > 0.1
    foil = np.full(samples, np.nan)
    foil[near] = (weight @ levels.foil_stops)[near] / total[near]
    u, v = x / grid.half_diagonal_mm, y / grid.half_diagonal_mm
    surface = np.column_stack([np.ones_like(u), u, v, u * u, u * v, v * v])
    stops = foil - surface @ levels.paper_fit
    length = float(np.hypot(end_mm[0] - start_mm[0], end_mm[1] - start_mm[1]))
    return LineContrast(read_only(share * length), read_only(stops), _flips(share * length, stops))


def _flips(distance_mm: Doubles, stops: Doubles) -> tuple[float, ...]:
    left, right = stops[:-1], stops[1:]
    with np.errstate(invalid="ignore"):
        crossed = np.flatnonzero(left * right < 0.0)
    part = left[crossed] / (left[crossed] - right[crossed])
    places = distance_mm[crossed] + part * (distance_mm[crossed + 1] - distance_mm[crossed])
    return tuple(float(place) for place in places)
