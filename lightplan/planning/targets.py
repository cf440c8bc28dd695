"""The picture that each look asks for, as levels to solve the powers against.

These only start the powers; the judgement decides. Foil levels are in stops against
white paper, as the judgement's own.
"""

from __future__ import annotations

import math

import numpy as np

from lightplan.arrays import Doubles
from lightplan.scene import Look, Rig

WHITE = 0.85
BRIGHT_STOPS = 0.7
DARK_STOPS = -3.5
RAINBOW_STOPS = -1.0
_LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # IEC 61966-2-1, linear sRGB


def luminance(light: Doubles) -> Doubles:
    """Return the luminance (...) of linear light (..., 3)."""
    return np.asarray(light @ _LUMINANCE)


def wanted_levels(rig: Rig, rows: int, cols: int) -> tuple[float, Doubles]:
    """Return the wanted level of the paper, and of the foil as (rows, cols) float.

    In units in which white paper (reflectance 0.85) is 0.85.
    """
    paper = float(luminance(np.array(rig.sheet.paper.reflectance)))
    return max(paper, 0.02), WHITE * np.exp2(_foil_stops(rig.look, along(rig, rows, cols)))


def along(rig: Rig, rows: int, cols: int) -> Doubles:
    """Return the way along the look's direction, 0 to 1 over the sheet, (rows, cols)."""
    x = (np.arange(cols) + 0.5) / cols - 0.5
    y = 0.5 - (np.arange(rows) + 0.5) / rows
    cosine, sine = math.cos(rig.look.direction_rad), math.sin(rig.look.direction_rad)
    width, height = rig.sheet.width_mm, rig.sheet.height_mm
    way = cosine * width * x[None, :] + sine * height * y[:, None]
    return np.asarray(way / (abs(cosine) * width + abs(sine) * height) + 0.5)


def _foil_stops(look: Look, way: Doubles) -> Doubles:
    if look.kind == "gradient":
        return BRIGHT_STOPS + look.strength_stops * (way - 0.9)
    if look.kind == "split":
        return np.where(way > 0.5, BRIGHT_STOPS, BRIGHT_STOPS - look.strength_stops)
    level = {"bright field": BRIGHT_STOPS, "dark field": DARK_STOPS, "rainbow": RAINBOW_STOPS}
    return np.full(way.shape, level[look.kind])
