"""How a place or a tilt is said to somebody with a tape measure and a phone's level."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from lightplan.arrays import Vector
    from lightplan.scene import Camera, Placement

SMALLEST_SHOWN_DEG = 0.5  # finer than anybody can set
ON_LINE_MM = 0.5


def lens(camera: Camera) -> str:
    """Return the focal length as the camera's maker states it."""
    if camera.states_equivalent:
        return f"lens like {camera.equivalent_focal_length_mm:.3g} mm on a 35 mm camera"
    return f"{camera.focal_length_mm:g} mm lens"


def left_right(x_mm: float, unit: LengthUnit) -> str:
    """Return where a thing is beside the cross.

    >>> left_right(-480.0, "mm"), left_right(0.0, "mm"), left_right(254.0, "in")
    ('480 mm left', '0 mm', '10.0 in right')
    """
    shown = show_length(abs(x_mm), unit)
    if abs(x_mm) < ON_LINE_MM:
        return shown
    return f"{shown} {'right' if x_mm > 0 else 'left'}"


def away_towards(y_mm: float, unit: LengthUnit) -> str:
    """Return where a thing is along the line from the maker.

    >>> away_towards(-260.0, "mm"), away_towards(177.0, "cm")
    ('260 mm towards you', '17.7 cm away')
    """
    shown = show_length(abs(y_mm), unit)
    if abs(y_mm) < ON_LINE_MM:
        return shown
    return f"{shown} {'away' if y_mm > 0 else 'towards you'}"


def place_words(point_mm: Vector, unit: LengthUnit) -> str:
    """Return a point in words.

    >>> place_words((0.0, 0.0, 0.0), "mm"), place_words((0.0, -46.0, 0.0), "mm")
    ('the cross', 'a point 46 mm towards you from the cross')
    """
    x, y, z = point_mm
    parts = [left_right(x, unit)] if abs(x) >= ON_LINE_MM else []
    parts += [away_towards(y, unit)] if abs(y) >= ON_LINE_MM else []
    high = f"{show_length(z, unit)} above the table" if abs(z) >= ON_LINE_MM else ""
    if not parts:
        return f"a point {high}, over the cross" if high else "the cross"
    flat = " and ".join(parts)
    return f"a point {flat} from the cross" + (f", {high}" if high else "")


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


def stance(placement: Placement) -> str:
    """Return how a card or lamp stands and which way it faces.

    >>> stance(Placement((0.0, 300.0, 0.0)))
    'upright; faces you'
    >>> stance(Placement((0.0, 0.0, 410.0)))
    'level, face down'
    >>> stance(Placement((0.0, 177.0, 381.0)))
    'lean it forward 65° from upright; faces you'
    """
    lean = lean_rad(placement)
    words = []
    if math.pi / 2 - abs(lean) < math.radians(1.0):
        words.append("level, face " + ("down" if lean > 0 else "up"))
    else:
        if abs(math.degrees(lean)) < SMALLEST_SHOWN_DEG:
            words.append("upright")
        else:
            way = "forward" if lean > 0 else "back"
            words.append(f"lean it {way} {degrees(lean)} from upright")
        words.append(facing(placement))
    turn = math.degrees(placement.roll_rad)
    if abs(turn) >= SMALLEST_SHOWN_DEG:
        way = "anticlockwise" if turn > 0 else "clockwise"
        words.append(f"turned {degrees(placement.roll_rad)} {way} as you look at its front")
    return "; ".join(words)


def facing(placement: Placement) -> str:
    """Return the compass of the table that a face looks to.

    >>> facing(Placement((-480.0, -160.0, 420.0)))
    'faces right, turned 18° away from you'
    """
    normal = placement.axes()[2]
    angle = math.degrees(math.atan2(normal[0], -normal[1])) % 360  # 0: you, 90: right
    quarter = round(angle / 90) % 4
    off = (angle - 90 * quarter + 180) % 360 - 180
    names = ("you", "right", "away from you", "left")
    toward = ("towards you", "to the right", "away from you", "to the left")
    words = f"faces {names[quarter]}"
    if abs(off) < SMALLEST_SHOWN_DEG:
        return words
    side = (quarter + (1 if off > 0 else -1)) % 4
    return f"{words}, turned {degrees(math.radians(off))} {toward[side]}"


def camera_stance(placement: Placement, unit: LengthUnit) -> str:
    """Return how the camera looks and what it aims at.

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
