"""Colour cast on the paper, and the foil's hue against its kind.

White balance limits on paper are published as a colour difference without lightness:
FADGI below 2, 4, 6, 8 (four stars to one), Metamorfoze 3, ISO 19264-1 3 to 5.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures.clipping import Pairs, Values, Wanted, asked
from lightplan.measures.evenness import WHITE_STOCK
from lightplan.measures.levels import LEAST_CELLS, LEAST_LEVEL, Levels
from lightplan.optics.colour import difference_2000, lightness, linear_srgb_to_lab, luminance_factor
from lightplan.optics.materials import foil_curve

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats

COMMON_LUMINANCE = 0.4
"""Foil is compared with its kind at one luminance, so that only colour counts."""
VIEW_COSINE = math.cos(math.radians(15.0))
GREY_CHROMA = 5.0
WHITE_LSTAR = 85.0
"""From this lightness on stock is white: a cast is seen in full. Our choice."""
LEAST_HUE_CHROMA = 4.0
"""Below this chroma a hue is not seen (a silver foil has none). Our choice."""


def measures(
    levels: Levels,
    foil_kind: str | None,
    stock: tuple[float, float, float] | None,
    wanted: Wanted = None,
) -> Pairs:
    """Return cast, hue and colourfulness by name."""
    found: Pairs = {}
    light = np.ones((1, 3))
    noise = levels.noise_stops
    if levels.paper_count >= LEAST_CELLS:
        body = np.array(WHITE_STOCK if stock is None else stock) + 1e-3
        light = (levels.paper_colour + LEAST_LEVEL) / body
        light = light / luminance_factor(light)[..., None]
        white = linear_srgb_to_lab(0.85 * light)[..., 0, :]
        chroma = _chroma(white) * _seen_share(body)
        found["paper_cast_Cab"] = (chroma, _chroma_error(noise, levels.paper_count))
        if asked(wanted, "paper_cast_hue_deg"):
            found["paper_cast_hue_deg"] = (_hue_deg(white), _turn_error_deg(1.0, chroma))
    if levels.foil_count >= LEAST_CELLS:
        if asked(wanted, "foil_hue_deg", "foil_colour_error_dE00", "foil_hue_error_deg"):
            found |= _foil(levels, foil_kind, light, wanted)
        if asked(wanted, "foil_colourfulness_Cab", "foil_hue_spread_share"):
            found |= _colourfulness(levels.foil_lab)
    return found


def _seen_share(stock: Doubles) -> float:
    """Return the share of a cast that counts on stock of a reflectance (3,).

    On dark or coloured stock a cast is hardly seen, and what would be seen on white is worked out
    from little light: a tone curve, or foil's light scattered in a lens, then looks like one.
    """
    own = float(lightness(luminance_factor(stock)))
    return min(1.0, own / WHITE_LSTAR)


def _foil(levels: Levels, foil_kind: str | None, light: Doubles, wanted: Wanted) -> Pairs:
    seen: Doubles = (levels.foil_colour + LEAST_LEVEL) / light
    seen = seen * (COMMON_LUMINANCE / luminance_factor(seen))[..., None]
    lab = linear_srgb_to_lab(seen)[..., 0, :]
    error = _chroma_error(levels.noise_stops, levels.foil_count)
    is_hue_asked = asked(wanted, "foil_hue_deg", "foil_hue_error_deg")
    found: Pairs = {}
    if is_hue_asked:
        found["foil_hue_deg"] = (_hue_deg(lab), _turn_error_deg(error, _chroma(lab)))
    if foil_kind is None:
        return found
    expected = expected_lab(foil_kind)
    found["foil_colour_error_dE00"] = (difference_2000(lab, expected), error)
    if is_hue_asked and _chroma(expected) >= LEAST_HUE_CHROMA:
        hue, turn_error = found["foil_hue_deg"]
        turn = (hue - _hue_deg(expected) + 180.0) % 360.0 - 180.0
        found["foil_hue_error_deg"] = (turn, turn_error)
    return found


@lru_cache(maxsize=64)
def expected_lab(foil_kind: str) -> Doubles:
    """Return the CIELAB colour of a kind of foil under white light at `COMMON_LUMINANCE`."""
    colour = np.asarray(foil_curve(foil_kind).evaluate(np.array([VIEW_COSINE])), np.float64)[0]
    colour = colour * (COMMON_LUMINANCE / float(luminance_factor(colour)))
    lab = np.asarray(linear_srgb_to_lab(colour), np.float64)
    lab.setflags(write=False)
    return lab


def _colourfulness(lab: Floats) -> Pairs:
    """Return mean chroma and how far the hues of the foil spread round the circle.

    The spread is one minus the length of the mean resultant of the hue angles, each
    weighted with its chroma (circular variance; Mardia and Jupp, "Directional
    statistics", 2000): 0 for one hue, towards 1 for all hues alike. A chroma of
    `GREY_CHROMA` in the denominator keeps the noise of a grey foil from counting.
    """
    a, b = lab[..., 1], lab[..., 2]
    chroma = np.hypot(a, b)
    mean, across, up = (x.mean(axis=-1).astype(np.float64) for x in (chroma, a, b))
    spread = np.maximum(0.0, mean - np.hypot(across, up)) / (mean + GREY_CHROMA)
    error = chroma.std(axis=-1).astype(np.float64) / math.sqrt(chroma.shape[-1])
    return {
        "foil_colourfulness_Cab": (mean, error),
        "foil_hue_spread_share": (spread, error / (mean + GREY_CHROMA)),
    }


def _chroma(lab: Floats) -> Doubles:
    return np.hypot(lab[..., 1], lab[..., 2], dtype=np.float64)


def _hue_deg(lab: Floats) -> Doubles:
    return np.asarray(np.degrees(np.arctan2(lab[..., 2], lab[..., 1])) % 360.0)


def _turn_error_deg(error: Values, chroma: Doubles) -> Doubles:
    """Return the error of a hue from that of its colour."""
    return np.asarray(np.minimum(180.0, np.degrees(error / np.maximum(chroma, 0.3))))


def _chroma_error(noise_stops: Doubles, count: int) -> Doubles:
    """Return the error of a chroma from pixel noise; about 60 units of a*b* per stop."""
    return 60.0 * noise_stops / math.sqrt(count) + 0.2
