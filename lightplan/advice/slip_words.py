"""Slips, settings and moves in a maker's words: what is off, and the order that undoes it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene.dimensions import element_of
from lightplan.words.places import AWAY, LEFT, RIGHT, way
from lightplan.words.things import name_in, stops_in_thirds

if TYPE_CHECKING:
    from lightplan.scene import Rig
    from lightplan.scene.slips import Slip

_AXES = {"x_mm": 0, "y_mm": 1, "z_mm": 2}
_TOO_FAR = (
    f"too far {RIGHT}",
    f"too far {LEFT}",
    f"too far {AWAY}",
    "too near to you",
    "too high",
    "too low",
)
_THIRD_TIMES = (
    30, 25, 20, 15, 13, 10, 8, 6, 5, 4, 3.2, 2.5, 2, 1.6, 1.3, 1, 1 / 1.3, 1 / 1.6, 1 / 2, 1 / 2.5,
    1 / 3, 1 / 4, 1 / 5, 1 / 6, 1 / 8, 1 / 10, 1 / 13, 1 / 15, 1 / 20, 1 / 25, 1 / 30, 1 / 40,
    1 / 50, 1 / 60, 1 / 80, 1 / 100, 1 / 125, 1 / 160, 1 / 200, 1 / 250, 1 / 320, 1 / 400, 1 / 500,
    1 / 640, 1 / 800, 1 / 1000, 1 / 1250, 1 / 1600, 1 / 2000, 1 / 2500, 1 / 3200, 1 / 4000,
)  # fmt: skip


def shutter_words(time_s: float) -> str:
    """Return the camera's setting next to an exposure time.

    >>> shutter_words(0.0502), shutter_words(0.0126), shutter_words(2.02), shutter_words(0.4)
    ('1/20', '1/80', '2 s', '0.4 s')
    """
    near = min(_THIRD_TIMES, key=lambda t: abs(math.log(t / time_s)))
    if near >= 0.29:
        return f"{near:.1f}".rstrip("0").rstrip(".") + " s"
    return f"1/{1 / near:.0f}"


def light_words(stops: float) -> str:
    """Return an amount of light: stops, and how many times where a maker knows it.

    >>> light_words(-1.0), light_words(1.02), light_words(-2.0), light_words(0.5)
    ('1 stop (half)', '1 stop (twice)', '2 stops (a quarter)', '1/2 stop')
    """
    known = {-2: "a quarter", -1: "half", 1: "twice", 2: "four times"}
    words = _halves(abs(stops))
    whole = round(stops)
    if abs(stops - whole) < 0.15 and whole in known:
        return f"{words} ({known[whole]})"
    return words


def _halves(stops: float) -> str:
    """Return stops in halves where that is nearer than in thirds."""
    half = round(stops * 2)
    if half % 2 and abs(stops - half / 2) < 0.09:
        whole = half // 2
        return f"{whole} 1/2 stops" if whole else "1/2 stop"
    return stops_in_thirds(stops)


def what_is_off(rig: Rig, slip: Slip) -> str:
    """Return what a slip is, a sentence without full stop; `rig` is the plan."""
    name, value = name_in(rig, slip.element), slip.value
    if slip.element == "exposure":
        more = "more" if value > 0 else "less"
        return f"the picture is exposed {light_words(value)} {more} than planned"
    if slip.element == "white balance":
        tint = "too warm (red)" if value > 0 else "too cold (blue)"
        return f"the white balance is {tint}"
    if slip.element == "focus":
        return f"the picture is not sharp: its edges are {value:.0f} pixels wide"
    if slip.element == "room":
        more = "more" if value > 0 else "less"
        return f"{more} of the room's own light falls on the set than planned"
    if slip.dimension == "missing":
        lamps = {lamp.name for lamp in rig.lamps}
        return f"{name} is not on" if slip.element in lamps else f"{name} is not there"
    if slip.dimension == "power_stops":
        return f"{name} is {light_words(value)} too {'bright' if value > 0 else 'dim'}"
    if slip.dimension == "bow_mm":
        way_up = "higher" if value > 0 else "lower"
        return f"the middle of the sheet lies about {abs(value):.1f} mm {way_up} than planned"
    if slip.dimension in _AXES:
        words = _TOO_FAR[2 * _AXES[slip.dimension] + (value < 0)]
        return f"{name} stands about {_rounded(value)} mm {words}"
    return f"{name} is turned about {abs(value):.0f} degrees too far {_turned_way(rig, slip, 1.0)}"


def undo_words(rig: Rig, slip: Slip) -> str:
    """Return the order that undoes a slip, without full stop; `rig` is the plan."""
    name, value = name_in(rig, slip.element), slip.value
    if slip.element == "room":
        if value < 0:
            return "let in as much of the room's own light as planned: curtains, lamps of the room"
        return "darken the room: curtains, lamps of the room, a bright screen"
    if slip.dimension == "missing":
        lamps = {lamp.name for lamp in rig.lamps}
        return f"switch {name} on" if slip.element in lamps else f"put {name} where the plan has it"
    if slip.dimension == "power_stops":
        way_of = "down" if value > 0 else "up"
        share = {1: " (to half)", 2: " (to a quarter)", -1: " (to twice)"}
        half = share.get(round(value), "") if abs(value - round(value)) < 0.15 else ""
        return f"turn {name} {way_of} by {_halves(abs(value))}{half}"
    if slip.dimension == "bow_mm":
        gap = abs(rig.sheet.flatness.bow_mm)
        until = (
            "a ruler lies on it without a gap"
            if gap < 0.05
            else f"the gap under a ruler is {gap:.1f} mm"
        )
        return f"press the sheet flat: weigh or tape its edges until {until}"
    if slip.dimension in _AXES:
        step = np.zeros(3)
        step[_AXES[slip.dimension]] = -value
        verb = "move" if slip.dimension != "z_mm" else ("raise" if value < 0 else "lower")
        where = f" {way(step)}" if verb == "move" else ""
        return f"{verb} {name} {_rounded(value)} mm{where}"
    return f"turn {name} {abs(value):.0f} degrees {_turned_way(rig, slip, -1.0)}"


def _rounded(value: float) -> str:
    step = 5 if abs(value) >= 20 else 1
    return f"{step * round(abs(value) / step):.0f}"


def _turned_way(rig: Rig, slip: Slip, sign: float) -> str:
    """Return which way a face looks more by a turn or lean."""
    element = element_of(rig, slip.element)
    placement = getattr(element, "placement", None)
    if placement is None:
        return "round"
    right, up, _ = placement.axes()
    step = (right if slip.dimension == "turn_deg" else up) * sign * slip.value
    return f"so that it faces more {way(step)}" if sign < 0 else way(step)
