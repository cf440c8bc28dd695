"""A rig in the figures that a tape measure and a rig file need, and no more of them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.scene.dimensions import value_of
from lightplan.scene.edits import Exchange, Set, dimensions_of, edited

if TYPE_CHECKING:
    from lightplan.scene.camera import Camera
    from lightplan.scene.cards import Card, Shell
    from lightplan.scene.edits import Edit
    from lightplan.scene.lamps import Lamp
    from lightplan.scene.rig import Rig

LENGTH_DIGITS, STOPS_DIGITS, ANGLE_DIGITS = 1, 2, 1
"""Tenths of a millimetre and of a degree, hundredths of a stop: finer than any hand sets."""


def rounded(rig: Rig, since: Rig | None = None) -> Rig:
    """Return a rig whose lengths, angles and powers have no more digits than a maker needs.

    Parameters
    ----------
    rig : Rig
        Locked things stay as they are.
    since : Rig or None
        What is still as it is there keeps its figures, which are the maker's own.

    Raises
    ------
    RigError
        Where the rounded rig cannot be.
    """
    before = {} if since is None else {thing.name: thing for thing in _things(since)}
    edits: list[Edit] = []
    for thing in _things(rig):
        if not thing.locked and thing != before.get(thing.name):
            edits += _edits(rig, thing.name, thing)
    if not rig.camera.locked and (since is None or rig.camera != since.camera):
        edits += _edits(rig, "camera", rig.camera)
    return edited(rig, *edits)


def _things(rig: Rig) -> tuple[Lamp | Card | Shell, ...]:
    return (*rig.lamps, *rig.cards, *rig.shells)


def _edits(rig: Rig, name: str, thing: Lamp | Card | Shell | Camera) -> list[Edit]:
    edits: list[Edit] = []
    placement = getattr(thing, "placement", None)  # a cone or tent always stands upright
    if placement is not None and placement.roll_rad != 0.0:
        roll = math.radians(round(math.degrees(placement.roll_rad), ANGLE_DIGITS))
        edits.append(Exchange(replace(thing, placement=replace(placement, roll_rad=roll))))
    for dimension in dimensions_of(thing):
        value = value_of(rig, name, dimension)
        digits = STOPS_DIGITS if dimension == "trim_stops" else LENGTH_DIGITS
        edits.append(Set(name, dimension, round(value, digits)))
    return edits
