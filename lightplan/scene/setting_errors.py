"""Setting errors: how a maker's hands miss the plan, and a rig that is built that way."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.arrays import Doubles
    from lightplan.scene import Placement, Rig

HANDS: Mapping[str, float] = MappingProxyType({"careful": 0.4, "tape": 1.0, "by eye": 4.0})
"""By how much more than `SettingErrors` hands miss: with a square, a level and patience, with a
tape measure, by eye (20 mm, 4 degrees, 0.4 stops). Common practice, no source."""
FOLLOWED = 12.0
"""So many setting errors (60 mm, 12 degrees, 1.2 stops) no hand misses by: what does not matter
up to there matters little."""
_USUAL = {"turn_deg": 1.0, "lean_deg": 1.0, "power_stops": 0.1, "bow_mm": 0.3}
_MOVES = ("x_mm", "y_mm", "z_mm")
_TURNS = ("turn_deg", "lean_deg")
NEARLY_LEVEL = 0.9
"""Upward part of the normal from which errors of turn and lean leave a face's sides as they lie."""


@dataclass(frozen=True, kw_only=True)
class SettingErrors:
    """Largest errors of a build; each is evenly spread from minus to plus this much.

    Common practice with a tape measure and a phone's level, no source.

    Parameters
    ----------
    position_mm : float
        Along x, y and z, of lamps, cards, shells.
    tilt_rad : float
        Turn about the vertical, and lean. [rad]
    camera_mm : float
        The same for the lens. Which way the camera points changes the frame only: what the
        foil mirrors depends on the lens's place alone.
    bow_mm : float
        Bow of the sheet beyond the measured one.
    power_stops : float
        Setting of a lamp.
    """

    position_mm: float = 5.0
    tilt_rad: float = math.radians(1.0)
    camera_mm: float = 5.0
    bow_mm: float = 0.3
    power_stops: float = 0.1


def matters_little(dimension: str, reach: float) -> bool:
    """Whether a dimension may be off by so much that no hand misses by more.

    >>> matters_little("x_mm", 60.0), matters_little("x_mm", 25.0), matters_little("turn_deg", 12)
    (True, False, True)
    """
    return reach >= 0.99 * FOLLOWED * _USUAL.get(dimension, 5.0)


@dataclass(frozen=True)
class ErrorDimension:
    """One thing that can be off, and its largest error (mm, degrees or stops)."""

    element: str
    dimension: str
    size: float


def error_dimensions(rig: Rig, errors: SettingErrors) -> tuple[ErrorDimension, ...]:
    """Return everything that can be off in a build of `rig`, in a fixed order."""
    found: list[ErrorDimension] = []
    turn = math.degrees(errors.tilt_rad)
    for lamp in rig.lamps:
        if lamp.is_window or not lamp.on:
            continue
        found += [ErrorDimension(lamp.name, d, errors.position_mm) for d in _MOVES]
        if lamp.shape != "bulb":
            found += [ErrorDimension(lamp.name, d, turn) for d in _TURNS]
        found.append(ErrorDimension(lamp.name, "power_stops", errors.power_stops))
    for card in rig.cards:
        found += [ErrorDimension(card.name, d, errors.position_mm) for d in _MOVES]
        found += [ErrorDimension(card.name, d, turn) for d in _TURNS]
    for shell in rig.shells:
        found += [ErrorDimension(shell.name, d, errors.position_mm) for d in ("x_mm", "y_mm")]
    found += [ErrorDimension("camera", d, errors.camera_mm) for d in _MOVES]
    found.append(ErrorDimension("sheet", "bow_mm", errors.bow_mm))
    return tuple(d for d in found if d.size > 0)


def built(rig: Rig, dimensions: tuple[ErrorDimension, ...], amounts: Doubles) -> Rig:
    """Return the rig as built with errors.

    Parameters
    ----------
    dimensions : tuple of ErrorDimension
    amounts : (d,) float
        Error of each, in its own unit (mm, degrees, stops).
    """
    per: dict[str, dict[str, float]] = {}
    for dimension, amount in zip(dimensions, amounts, strict=True):
        per.setdefault(dimension.element, {})[dimension.dimension] = float(amount)
    none: dict[str, float] = {}
    sheet, more_bow = rig.sheet, per.get("sheet", none).get("bow_mm", 0.0)
    if more_bow:
        flatness = replace(sheet.flatness, bow_mm=sheet.flatness.bow_mm + more_bow)
        sheet = replace(sheet, flatness=flatness)
    camera_off = per.get("camera", none)
    camera = rig.camera
    if any(camera_off.values()):
        camera = replace(camera, placement=_missed(camera.placement, camera_off))
    lamps = tuple(
        replace(
            x,
            placement=_missed(x.placement, per[x.name]),
            trim_stops=x.trim_stops + per[x.name].get("power_stops", 0.0),
        )
        if x.name in per
        else x
        for x in rig.lamps
    )
    cards = tuple(
        replace(x, placement=_missed(x.placement, per[x.name])) if x.name in per else x
        for x in rig.cards
    )
    shells = tuple(
        replace(x, centre_mm=tuple(_shifted(x.centre_mm, per[x.name]))) if x.name in per else x
        for x in rig.shells
    )
    return replace(rig, sheet=sheet, camera=camera, lamps=lamps, cards=cards, shells=shells)


def _shifted(place: tuple[float, float, float], off: dict[str, float]) -> Doubles:
    return np.array([p + off.get(name, 0.0) for p, name in zip(place, _MOVES, strict=True)])


def _missed(placement: Placement, off: dict[str, float]) -> Placement:
    position = _shifted(placement.position_mm, off)
    position[2] = max(position[2], min(placement.position_mm[2], 1.0))
    way = np.subtract(placement.aim_mm, placement.position_mm)
    right, up, normal = placement.axes()
    turn = math.radians(off.get("turn_deg", 0.0))
    lean = math.radians(off.get("lean_deg", 0.0))
    length = float(np.linalg.norm(way))
    aim = position + way + length * (math.tan(turn) * right + math.tan(lean) * up)
    missed = replace(
        placement,
        position_mm=(position[0], position[1], position[2]),
        aim_mm=(aim[0], aim[1], aim[2]),
    )
    if abs(normal[2]) < NEARLY_LEVEL or not (turn or lean):
        return missed
    # Which way the sides of a level face lie follows from where it leans: a degree aslant would
    # spin a board by a quarter turn. A hand that sets it a degree off does not.
    swung_right, swung_up, _ = missed.axes()
    spun = math.atan2(float(right @ swung_up), float(right @ swung_right))
    return replace(missed, roll_rad=missed.roll_rad + spun)
