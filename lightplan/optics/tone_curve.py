"""How a phone shows tones: the curve between light and the levels of the JPEG that it saves.

A camera that is set to plain tones saves what it measured, encoded as sRGB. A phone lifts the
middle, so that a picture is bright on its screen, and presses the highlights together to make
room. Foil lives there: a run of two stops below white comes out as one and a half.

The shape is that of a cell's response (Naka and Rushton 1966), which image makers know as the
shoulder of Reinhard, Stark, Shirley and Ferwerda 2002. Its two numbers were set to the tables
that are published for the small modules of libcamera (`gamma_curve` of its Raspberry Pi tunings
for vc4 and PiSP): in the two stops below white, where foil and white stock lie, it is within
0.05 stop of their mean, from which each of the two is up to 0.14 off. Below, those sink (half a
stop at a sixteenth of white), while phones that join several frames lift the shadows by about as
much (from memory): this curve lifts them by a quarter to a third of a stop.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Floats

POWER, LIFT = 1.15, 0.9
"""Steepness in the shadows, and by how much of itself a dark level is lifted."""
CONTRAST_SHARE, LIFT_STOPS = 0.144, 0.896
"""The same curve as more contrast and lifted shadows, u (1 + contrast) + lift (1 - 2^u) in stops u
below white: within 0.03 stop over seven stops."""


def shown(level: Floats) -> Floats:
    """Return levels (...) of light, 1 = clip, as a phone shows them.

    What lies above the clip level stays as it is: how far it lies beyond is still to be seen.

    Examples
    --------
    >>> shown(np.array([0.0, 0.25, 0.5, 1.0, 2.0])).round(3).tolist()
    [0.0, 0.326, 0.609, 1.0, 2.0]
    """
    inside = np.clip(level, 0.0, 1.0)
    steep = inside**POWER
    # in place: a search shows thousands of pictures
    steep *= (1.0 + LIFT) / (1.0 + LIFT * steep)
    return np.asarray(np.where(level > 1.0, level, steep), level.dtype)


def light_of(level: Floats) -> Floats:
    """Return the light (...) that a phone shows as these levels: the other way round.

    Examples
    --------
    >>> light_of(shown(np.array([0.02, 0.5, 0.9, 1.5]))).round(9).tolist()
    [0.02, 0.5, 0.9, 1.5]
    """
    inside = np.clip(level, 0.0, 1.0)
    light = (inside / (1.0 + LIFT - LIFT * inside)) ** (1.0 / POWER)
    return np.asarray(np.where(level > 1.0, level, light), level.dtype)
