"""The ink test, that is: could flat ink have made this foil.

Ink has one reflectance and sees the light that the paper beside it sees, so its ratio to the
paper is the same all over the sheet. What runs over the paper's own light is no ink.
"""

from __future__ import annotations

import math

import numpy as np

from lightplan.arrays import Doubles
from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.evenness import WHITE_STOCK
from lightplan.measures.levels import HIGH, LEAST_CELLS, LOW, Levels, Marks, quantile
from lightplan.measures.maps import Sheet
from lightplan.measures.smooth import each_times
from lightplan.optics.colour import lightness, luminance_factor

SEEN_Lstar = 45.0
"""A run of this much lightness reads as metal by 63 %. Seen by eye on rendered series: 1 to
1.5 stops begin to show, 3 are clearly better than 2."""
NAMES = ("reads_as_metal_share", "foil_run_stops", "foil_over_white_stops")


def measures(
    maps: Sheet, levels: Levels, stock: tuple[float, float, float] | None, wanted: Wanted = None
) -> Pairs:
    """Return the run of the foil over the paper's light and how far it reads as metal."""
    if levels.foil_count < LEAST_CELLS or not asked(wanted, *NAMES):
        return {}
    over = levels.foil_stops - _paper_beside(maps, levels)
    white = float(luminance_factor(np.array(WHITE_STOCK)))
    if stock is not None:
        over = over + math.log2(max(float(luminance_factor(np.array(stock))), 1e-3) / white)
    marks = Marks.of(np.sort(over))
    run = marks.high - marks.low
    noise = levels.cell_noise_stops(maps.grid, maps.grid.foil)
    level = white * np.exp2(over)
    anchor = np.maximum(white, white * np.exp2(marks.high))
    shown = lightness(np.minimum(level / anchor[..., None], 1.0))
    light = np.sort(np.asarray(shown, np.float64))
    seen = quantile(light, HIGH) - quantile(light, LOW)
    value = 1.0 - np.exp(-np.square(seen / SEEN_Lstar))
    slope = 2.0 * seen / SEEN_Lstar**2 * (1.0 - value)
    error = np.hypot(noise, math.sqrt(2.0 * LOW / levels.foil_count) * run)
    return {
        "reads_as_metal_share": (value, np.hypot(slope * 20.0 * error, 0.01)),
        "foil_run_stops": (run, error),
        "foil_over_white_stops": (marks.high, noise),
    }


def _paper_beside(maps: Sheet, levels: Levels) -> Doubles:
    """Return the paper's smooth level at the foil's cells, in stops; 0 where there is none."""
    if levels.paper_count < LEAST_CELLS:
        return np.zeros_like(levels.foil_stops)
    return each_times(maps.grid.foil_surface, levels.paper_fit)
