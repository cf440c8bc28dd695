"""How a thing stands, leans and faces, for somebody with a tape measure and a phone's level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.words.places import AWAY, LEFT, RIGHT, TOWARDS, place_words

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.scene import Camera, Placement
    from lightplan.units import LengthUnit

SMALLEST_SHOWN_DEG = 0.5  # finer than anybody can set
_FACED = ("you", "right", AWAY, "left")
_TURNED = (TOWARDS, RIGHT, AWAY, LEFT)


def lens(camera: Camera) -> str:
    """Return the focal length as the camera's maker states it."""
    if camera.states_equivalent:
        return f"lens like {camera.equivalent_focal_length_mm:.3g} mm on a 35 mm camera"
    return f"{camera.focal_length_mm:g} mm lens"


def degrees(angle_rad: float) -> str:
    """Return an angle in whole degrees, or half ones where it is small.

    >>> degrees(math.radians(65.1)), degrees(math.radians(3.4))
    ('65°', '3.5°')
    """
    value = abs(math.degrees(angle_rad))
    return f"{value:.0f}°" if value >= 10 else f"{round(value * 2) / 2:g}°"


def lean_rad(placement: Placement) -> float:
    """Return how far a face leans forward from upright: pi/2 lies face down, -pi/2 face up."""
    normal = placement.axes()[2]
    return math.asin(float(np.clip(-normal[2], -1.0, 1.0)))


def lamp_stance(placement: Placement) -> str:
    """Return where a lamp points: its head tips on its stand, the stand stays upright.

    >>> from lightplan.scene import Placement
    >>> lamp_stance(Placement((0.0, 177.0, 381.0)))
    'point it 65° down; faces you'
    >>> lamp_stance(Placement((0.0, 300.0, 0.0)))
    'point it level; faces you'
    """
    return _stance(placement, leaning=_pointing, straight="point it straight")


def stance(placement: Placement) -> str:
    """Return how a card stands and which way it faces.

    >>> from lightplan.scene import Placement
    >>> stance(Placement((0.0, 300.0, 0.0)))
    'upright; faces you'
    >>> stance(Placement((0.0, 0.0, 410.0)))
    'level, face down'
    >>> stance(Placement((0.0, 177.0, 381.0)))
    'lean it forward 65° from upright; faces you'
    """
    return _stance(placement, leaning=_leaning, straight="level, face")


def _stance(placement: Placement, *, leaning: Callable[[float], str], straight: str) -> str:
    lean = lean_rad(placement)
    if math.pi / 2 - abs(lean) < math.radians(1.0):
        words = [f"{straight} {'down' if lean > 0 else 'up'}"]
    else:
        words = [leaning(lean), facing(placement)]
    turn = math.degrees(placement.roll_rad)
    if abs(turn) >= SMALLEST_SHOWN_DEG:
        way = "anticlockwise" if turn > 0 else "clockwise"
        words.append(f"turned {degrees(placement.roll_rad)} {way} as you look at its front")
    return "; ".join(words)


def _leaning(lean: float) -> str:
    if abs(math.degrees(lean)) < SMALLEST_SHOWN_DEG:
        return "upright"
    return f"lean it {'forward' if lean > 0 else 'back'} {degrees(lean)} from upright"


def _pointing(lean: float) -> str:
    if abs(math.degrees(lean)) < SMALLEST_SHOWN_DEG:
        return "point it level"
    return f"point it {degrees(lean)} {'down' if lean > 0 else 'up'}"


def facing(placement: Placement) -> str:
    """Return the compass of the table that a face looks to.

    >>> from lightplan.scene import Placement
    >>> facing(Placement((-480.0, -160.0, 420.0)))
    'faces right, turned 18° away from you'
    """
    normal = placement.axes()[2]
    angle = math.degrees(math.atan2(normal[0], -normal[1])) % 360  # 0: you, 90: right
    quarter = round(angle / 90) % 4
    off = (angle - 90 * quarter + 180) % 360 - 180
    words = f"faces {_FACED[quarter]}"
    if abs(off) < SMALLEST_SHOWN_DEG:
        return words
    side = (quarter + (1 if off > 0 else -1)) % 4
    return f"{words}, turned {degrees(math.radians(off))} {_TURNED[side]}"


def camera_stance(placement: Placement, unit: LengthUnit) -> str:
    """Return how the camera looks and what it aims at.

    >>> from lightplan.scene import Placement
    >>> camera_stance(Placement((0.0, -260.0, 560.0)), "mm")
    'tilt it 25° from straight down; aim at the cross'
    >>> camera_stance(Placement((0.0, 0.0, 420.0)), "mm")
    'looks straight down; aim at the cross'
    """
    normal = placement.axes()[2]
    off = math.acos(float(np.clip(-normal[2], -1.0, 1.0)))
    if math.degrees(off) < SMALLEST_SHOWN_DEG:
        words = "looks straight down"
    else:
        words = f"tilt it {degrees(off)} from straight down"
    words += f"; aim at {place_words(placement.aim_mm, unit)}"
    turn = math.degrees(placement.roll_rad)
    if abs(turn) >= SMALLEST_SHOWN_DEG:
        # the camera looks the other way along the line than someone who faces its lens
        way = "clockwise" if turn > 0 else "anticlockwise"
        words += f"; turned {degrees(placement.roll_rad)} {way} as it looks"
    return words
