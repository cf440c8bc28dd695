"""Foil against paper: the ratio in stops, the visible difference, and where it flips."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import smooth_step
from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.evenness import WHITE_STOCK
from lightplan.measures.levels import LEAST_CELLS, Levels, log2_level, quantile
from lightplan.measures.smooth import each_times
from lightplan.optics.colour import luminance_factor

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.maps import SheetPicture

LOST, TOLD = 2.0, 6.0
"""CIEDE2000 to the paper beside it at which foil is lost from sight, and at which it is told.

Seen by eye on silver foil on white paper: strokes that differ by 4 can just be followed."""
SUNK_Lstar, SEEN_Lstar = 5.0, 15.0
"""Lightness of foil, and of the paper beside it, up to which both are black, and from which one is
seen. Lettering of deep blue foil at L* 2 to 8 on black stock cannot be read, though CIEDE2000 says
7 to 17: seen by eye."""
UNITS_A_STOP = 15.0
"""One stop near white is about so many units of CIEDE2000."""


def measures(
    maps: SheetPicture,
    levels: Levels,
    stock: tuple[float, float, float] | None,
    wanted: Wanted = None,
) -> Pairs:
    """Return the contrasts by name, and the brightest level of the picture."""
    if not levels.foil_count:
        return {}
    found: Pairs = {"brightest_level_stops": (_brightest(levels), levels.noise_stops)}
    if min(levels.paper_count, levels.foil_count) < LEAST_CELLS:
        return found
    noise = levels.cell_noise_stops(maps.grid, maps.grid.foil)
    ratio = log2_level(levels.foil_marks.middle) - log2_level(levels.paper_marks.middle)
    # A doubtful mask mixes the two: the ratio is then understated. Of mixed pixels the
    # share of foil is taken as right within a tenth of the paper's share.
    doubt = 0.5 * (1.0 - maps.confidence) + 0.1 * (1.0 - maps.grid.foil.mean_purity)
    error = np.hypot(noise, doubt * np.abs(ratio))
    white = float(luminance_factor(np.array(WHITE_STOCK)))
    known = white if stock is None else max(float(luminance_factor(np.array(stock))), 1e-3)
    found["foil_to_paper_stops"] = (ratio, error)
    found["foil_to_white_stops"] = (ratio + math.log2(known / white), error)
    found |= _seen(levels, error)
    if asked(wanted, "foil_sign_flip_share", "foil_weakest_contrast_stops"):
        found |= _flip(maps, levels)
    return found


def _brightest(levels: Levels) -> Doubles:
    best = levels.foil_marks.high
    if levels.paper_count:
        best = np.maximum(best, levels.paper_marks.high)
    return log2_level(best)


def _seen(levels: Levels, error_stops: Doubles) -> Pairs:
    """Return how far, by CIEDE2000, the foil's cells stand off from the paper beside them.

    The mean over cells, and not the difference of two medians: a foil that runs from
    below the paper's tone to above it is seen, though its median is the paper's. Where it
    passes that tone it is lost from sight: the share of cells tells over how much of it. So is
    black foil on black stock, whatever its hue.
    """
    apart = levels.foil_off_paper
    error = UNITS_A_STOP * error_stops
    lost = 1.0 - smooth_step(apart, LOST, TOLD).mean(axis=-1)
    # at most so much of the foil turns from lost to told as one unit moves it
    steep = 1.5 / (TOLD - LOST) * lost * (1.0 - lost)
    lighter = np.maximum(levels.foil_lab[..., 0], levels.paper_beside_lab[..., 0])
    sunk = 1.0 - smooth_step(lighter, SUNK_Lstar, SEEN_Lstar).mean(axis=-1)
    return {
        "foil_paper_contrast_dE00": (apart.mean(axis=-1), error),
        "foil_lost_share": (lost, np.hypot(_few(lost, levels), steep * error)),
        "foil_sunk_share": (sunk, _few(sunk, levels)),
    }


def _few(share: Doubles, levels: Levels) -> Doubles:
    """Return the standard error of a share of the foil's cells."""
    return np.asarray(np.sqrt(share * (1.0 - share) / levels.foil_count))


def _flip(maps: SheetPicture, levels: Levels) -> Pairs:
    """Return the share of foil on the lesser side of the paper, and the weakest contrast.

    The paper's level beside each cell of foil is its smooth (quadratic) level there.
    """
    grid = maps.grid
    beside = each_times(grid.foil_surface, levels.paper_fit)
    over = levels.foil_stops - beside
    brighter = (over > 0.0).mean(axis=-1)
    flipped = np.minimum(brighter, 1.0 - brighter)
    weakest = quantile(np.sort(np.abs(over)), 0.1)
    noise = levels.cell_noise_stops(grid, grid.foil)
    return {
        "foil_sign_flip_share": (flipped, _few(flipped, levels)),
        "foil_weakest_contrast_stops": (weakest, noise),
    }
