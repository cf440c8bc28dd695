"""The ink test, that is: could flat ink have made this foil.

Ink has one reflectance, sees the light that the paper beside it sees, and is never brighter
than white paper. So the ratio of foil to paper light is the same all over a sheet of ink.
What runs in that ratio says metal. The run is counted as the eye sees it, as a difference of
lightness with the brightest white of the picture as white: a stop in near-black is nothing.

Grounds (abstracts were looked up, unless marked):
- Hasegawa, Iino, Nakaguchi, Tsumura 2011, gold leaf in print: the change of lightness over
  the gold should be apparent, its brightest part need not be the limit, its darkest should
  be dark enough beside it.
- Todd and Norman 2018, as quoted by later papers: metal under light that is too diffuse
  reads as matte or shiny white, under too sparse as shiny black.
- Bonato and Gilchrist 1994: from 1.7 times white on a target looks luminous, no surface.
- Kiyokawa, Tashiro, Yamauchi, Nagai 2019: edges of luminance are a cue for dark gloss.
- Matsumoto, Fukuda, Uchikawa 2014: gold goes with gloss and metallicity; with more lightness
  its range shrinks.
- Zhang, de Ridder, Barla, Pont 2019, 2020: which mode of light brings out which material.
- Harvey and Smithson 2021: low-level image features suffice to judge metallicity.
- Marlow, Kim, Anderson 2012, from memory: contrast, sharpness, coverage of highlights.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import smooth_step
from lightplan.measures import mirrored_edges
from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.evenness import WHITE_STOCK
from lightplan.measures.levels import HIGH, LEAST_CELLS, LOW, Levels, Marks
from lightplan.measures.maps import CLIP_LEVEL, SheetPicture
from lightplan.measures.smooth import each_times
from lightplan.optics.colour import lightness, linear_srgb_to_lab, luminance_factor

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.grid import Grid

SEEN_Lstar = 38.0
STEEPNESS = 3.5
"""A run of 38 L* reads as metal by 63 %, 23 (1 stop below white) by a sixth, 33 (1.5 stops) by
half. Seen by eye on rendered series: 1 to 1.5 stops begin to show, 3 beat 2 clearly."""
OVER_WHITE_GAIN = 0.2
OVER_WHITE_STOPS = (-1.0, 0.77)
"""A bright end that comes near white, and over it, adds this share to the run, all of it from 1.7
times white on (Bonato and Gilchrist 1994). Share and begin: seen by eye on small rose-gold
shapes, where a run that ends a stop below white looks like black ink with a pink corner, and
one of fewer stops that passes white looks like foil."""
BLANK_HALF = 0.2
"""Share of blank highlight at which half is left; a few per cent do no harm, a third is blank
paper: seen by eye."""
FLAT_Lstar = (4.0, 12.0)
PALE_dE00 = (3.0, 9.0)
PALE = (0.15, 0.6)
"""Foil as light as its bright end to within the first is flat there. Where by CIEDE2000 it hardly
differs from the paper beside it, it is pale print: greys on white that differ by 4 are faint, by 6
look printed, from 8 on stand out. A run that passes the paper's tone, or ends at it, leaves a
seventh of the foil so; half of it spoils a picture. Seen by eye on light grey strips and letters,
and on holographic strips whose upper half lay 0.3 stop over white paper."""
HIDDEN_BY_THINNESS = 0.5
"""Share of the run that strokes hide which are all edge: seen by eye on fine script."""
LEAST_CLEARED = 0.5
"""Blur into thin shapes is at most taken to be half of what is seen there. Our choice."""
HUE_GAIN = 2.0
HUE_NOISE_Cab = 2.0
"""Spread of hue over the foil below which it is noise. Our choice."""
NAMES = ("reads_as_metal_share", "foil_run_stops", "foil_over_white_stops")


def measures(
    maps: SheetPicture,
    levels: Levels,
    stock: tuple[float, float, float] | None,
    wanted: Wanted = None,
) -> Pairs:
    """Return the run of the foil over the paper's light and how far it reads as metal."""
    if levels.foil_count < LEAST_CELLS or not asked(wanted, *NAMES):
        return {}
    over = _over_white(maps.grid, levels, stock)
    marks = Marks.of(np.sort(over))
    noise = levels.cell_noise_stops(maps.grid, maps.grid.foil)
    run = marks.high - marks.low
    error = np.hypot(noise, math.sqrt(2.0 * LOW * HIGH / levels.foil_count) * run)
    found: Pairs = {"foil_run_stops": (run, error), "foil_over_white_stops": (marks.high, error)}
    if asked(wanted, "reads_as_metal_share"):
        found["reads_as_metal_share"] = _reads(maps, levels, over, marks, noise)
    return found


@dataclass(frozen=True, eq=False)
class _Seen:
    """Lightness (..., m) of the foil's cells and its span (...), brightest white as white."""

    light: Doubles
    low: Doubles
    high: Doubles

    @classmethod
    def of(cls, over: Doubles, brightest: Doubles) -> _Seen:
        anchor = np.maximum(brightest, 0.0)[..., None]
        shown = lightness(np.minimum(np.exp2(over - anchor), 1.0))
        light = np.asarray(shown, np.float64)
        marks = Marks.of(np.sort(light))
        return cls(light, marks.low, marks.high)

    @property
    def span(self) -> Doubles:
        return np.asarray(self.high - self.low)

    def coverage(self) -> Doubles:
        """Return how well the bright part's share suits, 0 to 1: best at a third.

        The share of the foil in the upper half of its span, softly counted. None and all
        are flat; 14 to 45 % are best: seen by eye.
        """
        middle, slope = 0.5 * (self.low + self.high), 8.0 / np.maximum(self.span, 4.0)
        turn = np.clip((self.light - middle[..., None]) * slope[..., None], -40.0, 40.0)
        share = (1.0 / (1.0 + np.exp(-turn))).mean(axis=-1)
        return np.asarray((1.0 - np.exp(-share / 0.08)) * (1.0 - np.exp((share - 1.0) / 0.2)))

    def pale(self, off_paper: Doubles) -> Doubles:
        """Return the share (...) of foil that is flat, bright and no further off (..., m) paper."""
        flat = 1.0 - smooth_step(self.high[..., None] - self.light, *FLAT_Lstar)
        return np.asarray((flat * (1.0 - smooth_step(off_paper, *PALE_dE00))).mean(axis=-1))


def _reads(
    maps: SheetPicture, levels: Levels, over: Doubles, marks: Marks, noise: Doubles
) -> tuple[Doubles, Doubles]:
    seen = _Seen.of(over, marks.high)
    low, high = OVER_WHITE_STOPS
    lighter = np.clip((marks.high - low) / (high - low), 0.0, 1.0)
    brightest = np.exp2(np.median(levels.foil_stops - over, axis=-1) + np.maximum(marks.high, 0.0))
    gain = (1.0 + OVER_WHITE_GAIN * lighter) * (1.0 + mirrored_edges.gain(maps, levels, brightest))
    gain = gain * (1.0 - HIDDEN_BY_THINNESS * maps.grid.foil_leak.mean())
    run = np.hypot(seen.span * seen.coverage() * gain, HUE_GAIN * _hues(levels, brightest))
    kept = 1.0 / (1.0 + (_blank(levels) / BLANK_HALF) ** 3)
    if levels.paper_count >= LEAST_CELLS:
        kept = kept * (1.0 - smooth_step(seen.pale(levels.foil_off_paper), *PALE))
    share = np.minimum(run / SEEN_Lstar, 3.0) ** STEEPNESS
    left = np.exp(-share)
    slope = STEEPNESS * share / np.maximum(run, 1.0) * left
    per_stop = 20.0  # L* of a stop near the middle of the scale
    sampled = math.sqrt(2.0 * LOW * HIGH / levels.foil_count) * seen.span
    error = np.hypot(slope * np.hypot(per_stop * noise, sampled), (1.0 - maps.confidence) * 0.3)
    return (1.0 - left) * kept, np.hypot(error * kept, 0.01)


def _over_white(grid: Grid, levels: Levels, stock: tuple[float, float, float] | None) -> Doubles:
    """Return the foil's cells over white stock in the light that falls beside them, in stops.

    Without paper, over the clip level.
    """
    if levels.paper_count < LEAST_CELLS:
        return levels.foil_stops
    ratio = np.exp2(levels.foil_stops - paper_beside(grid, levels))
    over = np.log2(_without_leak(ratio, grid) + 2.0**-14)
    white = float(luminance_factor(np.array(WHITE_STOCK)))
    known = white if stock is None else max(float(luminance_factor(np.array(stock))), 1e-3)
    return np.asarray(over + math.log2(known / white))


def paper_beside(grid: Grid, levels: Levels) -> Doubles:
    """Return the paper's level (..., m) beside the foil's cells, in stops.

    The smooth quadratic, and what the paper near by departs from it.
    """
    smooth = each_times(grid.foil_surface, levels.paper_fit)
    off = levels.paper_stops - each_times(grid.paper_surface, levels.paper_fit)
    gathered, spread = grid.paper_patches
    return np.asarray(smooth + each_times(spread, each_times(gathered, np.clip(off, -2.0, 2.0))))


def _without_leak(ratio: Doubles, grid: Grid) -> Doubles:
    """Return the ratio of foil to paper without the paper that a lens blurs into thin shapes.

    Ratios that change with the shapes' thinness alone, towards the paper's, are blur:
    seen = foil + leak (1 - foil), the strength of the leak by least squares over the cells,
    at most that of a blur of `within.LEAK_SHARE` of the sheet.
    """
    leak = grid.foil_leak
    off = np.asarray(leak - leak.mean())
    spread = float(off @ off)
    if spread < 1e-6 * len(leak):
        return ratio
    slope = each_times(off[None, :], ratio)[..., 0] / spread
    room = 1.0 - np.median(ratio, axis=-1)
    strength = np.clip(slope * room / (room * room + 0.01), 0.0, 1.0)
    cleared = ratio - (strength * room)[..., None] * off
    return np.asarray(np.maximum(cleared, LEAST_CLEARED * ratio))


def _hues(levels: Levels, brightest: Doubles) -> Doubles:
    """Return how far hue runs over the foil, in units of a*b*, less noise.

    What the mean chroma has over the chroma of the mean colour: hues that differ cancel each
    other there. One hue that only gets deeper is what ink does where it is printed denser, or
    a tinted light that fades: it counts nothing. With the brightest level (...) of the picture
    as white, so that exposure does not count.
    """
    shown = levels.foil_rgb / brightest[..., None, None].astype(np.float32)
    ab = linear_srgb_to_lab(np.minimum(shown, np.float32(1.5)))[..., 1:]
    chroma = np.hypot(ab[..., 0], ab[..., 1]).mean(axis=-1, dtype=np.float64)
    off = chroma**2 - np.square(ab.mean(axis=-2, dtype=np.float64)).sum(axis=-1)
    return np.asarray(np.sqrt(np.maximum(off - HUE_NOISE_Cab**2, 0.0)))


def _blank(levels: Levels) -> Doubles:
    """Return the share of foil that is blank: every channel at its end, softly counted."""
    least = levels.foil_rgb.min(axis=-1).astype(np.float64)
    over = np.clip((least - 0.96 * CLIP_LEVEL) / 0.01, -40.0, 40.0)
    return np.asarray((1.0 / (1.0 + np.exp(-over))).mean(axis=-1))
