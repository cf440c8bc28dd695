"""The picture that each look asks for, as levels to solve the powers against.

These only start the powers; the judgement decides. Foil levels are in stops against
white paper, as the judgement's own.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.scene import Look, Rig

WHITE = 0.85
BRIGHT_STOPS = 0.7
BRIGHT_FIELD_STOPS = 0.25
BRIGHT_RUN_STOPS = 1.6
"""White at L* 85 leaves 0.7 stop to the clip level; the bright end may pass it a little."""
BAND_SHARE = 0.15
"""Half width at half height of a bright band, as a share of the sheet: 30 % of it is bright."""
DARK_STOPS = -3.5
RAINBOW_STOPS = -1.0
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1, linear sRGB


def luminance(light: Doubles) -> Doubles:
    """Return the luminance (...) of linear light (..., 3)."""
    return np.asarray(light @ _LUMINANCE)


def paper_level(rig: Rig) -> float:
    """Return the wanted level of the paper, in units in which white paper is 0.85."""
    return max(float(luminance(np.array(rig.sheet.paper.reflectance))), 0.02)


def foil_level(rig: Rig, x_mm: Doubles, y_mm: Doubles) -> Doubles:
    """Return the wanted level of the foil at places (n,) of the sheet, in the same units."""
    return np.asarray(WHITE * np.exp2(_foil_stops(rig.look, _along(rig, x_mm, y_mm))))


def _along(rig: Rig, x_mm: Doubles, y_mm: Doubles) -> Doubles:
    """Return the way in which the look's light changes, 0 to 1 over the sheet.

    That is the look's direction, and for a band, which runs in that direction, square to it.
    """
    turn = rig.look.direction_rad + (0.5 * math.pi if rig.look.kind == "bright band" else 0.0)
    cosine, sine = math.cos(turn), math.sin(turn)
    reach = abs(cosine) * rig.sheet.width_mm + abs(sine) * rig.sheet.height_mm
    return np.asarray((cosine * x_mm + sine * y_mm) / reach + 0.5)


def _foil_stops(look: Look, way: Doubles) -> Doubles:
    if look.kind == "gradient":
        return BRIGHT_STOPS + look.strength_stops * (way - 0.9)
    if look.kind == "split":
        return np.where(way > 0.5, BRIGHT_STOPS, BRIGHT_STOPS - look.strength_stops)
    if look.kind == "bright band":
        off = (way - 0.5) / BAND_SHARE
        return BRIGHT_STOPS - look.strength_stops * (1.0 - np.exp2(-off * off))
    if look.kind == "bright field":
        return BRIGHT_FIELD_STOPS + BRIGHT_RUN_STOPS * (way - 0.5)
    level = {"flat copy": BRIGHT_STOPS, "dark field": DARK_STOPS, "rainbow": RAINBOW_STOPS}
    return np.full(way.shape, level[look.kind])
