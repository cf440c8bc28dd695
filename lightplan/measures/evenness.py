"""Evenness of the foil in stops, of the paper by the published limits; glare.

Paper is compared with two published kinds of limit, which are not interchangeable: a
range of L* (Metamorfoze: 3 up to A3) and a standard deviation over mean (FADGI: 1 to 8 %).
The second is taken here on linear luminance, since the guidelines do not say.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures.clipping import Pairs, Values, Wanted, asked
from lightplan.measures.levels import HIGH, LEAST_CELLS, LOW, Levels, Marks
from lightplan.measures.smooth import each_times, smooth_level
from lightplan.optics.colour import lightness, luminance_factor, srgb_encode

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.grid import Grid
    from lightplan.measures.maps import SheetPicture

WHITE_STOCK = (0.85, 0.85, 0.85)
PAPER_GLARE_STOPS = 0.2
FOIL_GLARE_STOPS = 1.0
"""Above the smooth level by this much is glare; the eye sees 0.12 stop on white paper as
3 units of L*. Our choice."""

LEAK_DOUBT = 0.1
"""Share of the light that a lens brings into strokes of stock of which it is not known whether it
is there. Our choice: photographs of black lettering in bright metal hold up to so much more."""

_NORMAL_SPAN = 4.107  # between the 2nd and 98th percentile of a normal distribution


def measures(
    maps: SheetPicture,
    levels: Levels,
    stock: tuple[float, float, float] | None,
    wanted: Wanted = None,
) -> Pairs:
    """Return evenness, levels and glare by name."""
    grid = maps.grid
    found: Pairs = {}
    if levels.foil_count >= LEAST_CELLS:
        if asked(wanted, "foil_evenness_stops"):
            noise = levels.cell_noise_stops(grid, grid.foil)
            found["foil_evenness_stops"] = _span(np.sort(levels.foil_stops), noise, maps)
        if asked(wanted, "foil_glare_share"):
            smooth = smooth_level(levels.foil_stops, grid.plane)
            found["foil_glare_share"] = _glare(levels.foil_stops - smooth, FOIL_GLARE_STOPS)
    if levels.paper_count >= LEAST_CELLS:
        found |= _lightness(maps, levels, stock)
        if asked(wanted, "paper_variation_share"):
            found["paper_variation_share"] = _variation(maps, levels)
        if asked(wanted, "paper_glare_share"):
            smooth = each_times(grid.paper_surface, levels.paper_fit)
            found["paper_glare_share"] = _glare(levels.paper_stops - smooth, PAPER_GLARE_STOPS)
    return found


def _lightness(
    maps: SheetPicture, levels: Levels, stock: tuple[float, float, float] | None
) -> Pairs:
    reflectance = float(luminance_factor(np.array(WHITE_STOCK if stock is None else stock)))
    marks = levels.paper_marks
    middle = np.maximum(marks.middle, 1e-6)
    noise = levels.cell_noise_stops(maps.grid, maps.grid.paper)
    noise = np.hypot(noise, _leak_stops(maps.grid, levels))
    per_stop = _lightness_per_stop(reflectance)
    ends = np.array([marks.low, marks.high])
    low, high = lightness(np.minimum(ends * reflectance / middle, 4.0))
    raw = np.asarray(high - low, np.float64)
    quiet = _less_noise(raw, noise * per_stop)
    doubt = noise + quantum_stops(maps, middle)
    error = np.hypot(_span_error(raw, levels.paper_count), doubt * per_stop)
    shown = np.asarray(lightness(np.minimum(middle, 1.0)), np.float64)
    tone_error = doubt * _lightness_per_stop(middle)
    found: Pairs = {
        "paper_lightness_range_Lstar": (quiet, error),
        "paper_lightness_Lstar": (shown, tone_error),
    }
    if stock is not None:
        own = float(lightness(np.array(reflectance)))
        found["paper_tone_Lstar"] = _tone(shown - own, tone_error, own)
    return found


def _leak_stops(grid: Grid, levels: Levels) -> Values:
    """Return the spread (...) in stops that the foil's light, blurred into thin stock, may make.

    Of black strokes in bright metal nobody can tell whether their light is even; of stock as
    wide as it is between most artwork this is nothing.
    """
    if not levels.foil_count:
        return 0.0
    brighter = levels.foil_marks.middle / np.maximum(levels.paper_marks.middle, 1e-6) - 1.0
    share = LEAK_DOUBT * np.asarray(np.maximum(brighter, 0.0))[..., None] * grid.paper_leak
    return np.asarray(np.sqrt((np.log2(1.0 + share) ** 2).mean(axis=-1)))


def _tone(off: Doubles, error: Doubles, own: float) -> tuple[Values, Values]:
    """Return how far paper lies off its own lightness; darkness of dark stock counts less.

    White stock must read white. The darker a stock is, the less is lost where it is shown
    darker than it is: black lettering on a bright plate may be black. So what is missing
    counts by the stock's lightness over that of white stock.
    """
    white = float(lightness(luminance_factor(np.array(WHITE_STOCK))))
    share = np.where(off < 0.0, min(1.0, own / white), 1.0)
    return np.asarray(off * share), np.asarray(error * share)


def _variation(maps: SheetPicture, levels: Levels) -> tuple[Values, Values]:
    """Return the standard deviation over the mean, with the noise's own taken out."""
    level = levels.paper
    noise = levels.cell_noise_stops(maps.grid, maps.grid.paper)
    spread = level.std(axis=-1) / np.maximum(level.mean(axis=-1), 1e-6)
    calm = np.sqrt(np.maximum(spread**2 - (noise * math.log(2.0)) ** 2, 0.0))
    doubt = noise + quantum_stops(maps, np.maximum(levels.paper_marks.middle, 1e-6))
    return calm, np.hypot(calm / math.sqrt(2.0 * levels.paper_count), doubt * 0.69)


def _span(ordered: Doubles, noise: Doubles, maps: SheetPicture) -> tuple[Values, Values]:
    """Return the span between `LOW` and `HIGH` with the noise's own span taken out."""
    marks = Marks.of(ordered)
    raw = marks.high - marks.low
    quantum = quantum_stops(maps, 2.0**marks.middle)
    error = np.hypot(_span_error(raw, ordered.shape[-1]), noise + quantum)
    return _less_noise(raw, noise), error


def _less_noise(span: Doubles, noise: Doubles) -> Doubles:
    return np.asarray(np.sqrt(np.maximum(span**2 - (_NORMAL_SPAN * noise) ** 2, 0.0)))


def _span_error(span: Doubles, count: int) -> Doubles:
    """Return the standard error of a span between quantiles of `count` even values.

    Each end has the error range x sqrt(p (1 - p) / n) for values spread evenly over
    the range (the asymptotic variance of a sample quantile).
    """
    return math.sqrt(2.0 * LOW * HIGH / count) * span / (HIGH - LOW)


def _lightness_per_stop(level: Values) -> Doubles:
    """Return the slope of L* per stop at a level relative to white (CIE 015)."""
    level = np.minimum(np.maximum(level, 1e-3), 1.0)
    return np.asarray(116.0 / 3.0 * level ** (1.0 / 3.0) * math.log(2.0))


def quantum_stops(maps: SheetPicture, level: Doubles) -> Values:
    """Return the standard uncertainty of a level that the file's code steps cause."""
    if maps.code_levels is None:
        return 0.0
    level = np.minimum(np.maximum(level, 1e-4), 1.0)
    code = srgb_encode(level)
    step = 1.0 / (maps.code_levels - 1)
    # code = f(level); d(level)/level per code step, then the spread of a uniform error.
    slope = np.where(code < 0.04045, 12.92 * level, (code + 0.055) / 2.4)
    return np.asarray(step / slope / math.log(2.0) / math.sqrt(12.0))


def _glare(above: Doubles, least: float) -> tuple[Values, Values]:
    share = (above > least).mean(axis=-1)
    return share, np.sqrt(share * (1.0 - share) / above.shape[-1])
