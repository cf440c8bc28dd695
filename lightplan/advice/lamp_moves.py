"""Moves of lamps: out of the mirror's view, to another aim, farther away, sideways."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.moves import (
    SETTING_MARGIN_MM,
    AdvisedMove,
    angle_between,
    moved_by,
    nudge,
    with_thing,
)
from lightplan.mirror.foil_rays import FoilRays, lobe_margin_mm, places_on
from lightplan.scene.edits import as_vector
from lightplan.words.places import step_words
from lightplan.words.things import name_in, rounded_up

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles
    from lightplan.geometry.shapes import Flat
    from lightplan.scene import Lamp, Rig

LEAST_TURN_DEG = 2.0  # less cannot be set by hand
SLIDES_MM = (50.0, 120.0)
LONGER = (0.25, 0.5)  # of the lamp's distance


def lamp_out_of_view(rig: Rig, lamp: Lamp, face: Flat, rays: FoilRays) -> Iterator[AdvisedMove]:
    """Yield the shifts that take a lamp out of what the foil mirrors, the shortest first."""
    places, distance = places_on(face, rays)
    good = np.isfinite(places).all(axis=1)
    if not good.any():
        return
    places = places[good]
    margin = SETTING_MARGIN_MM + lobe_margin_mm(rig, float(np.nanmedian(distance)))
    options = []
    for axis, half, vector in ((0, face.half_width, face.right), (1, face.half_height, face.up)):
        low, high = float(places[:, axis].min()), float(places[:, axis].max())
        options.append((high + half + margin, np.asarray(vector)))
        options.append((half - low + margin, -np.asarray(vector)))
    for length, outward in sorted(options, key=lambda option: option[0])[:3]:
        step = rounded_up(max(length, SETTING_MARGIN_MM))
        text = f"move {name_in(rig, lamp.name)} {step:.0f} mm {step_words(outward)}"
        yield AdvisedMove(text, partial(with_thing, rig, moved_by(lamp, step * outward)))


def aim_lamp(rig: Rig, lamp: Lamp, target_mm: Doubles, at_what: str) -> Iterator[AdvisedMove]:
    """Yield the turn of a lamp that points it at a place, and half of that turn."""
    old = lamp.placement
    here = np.asarray(old.position_mm)
    wanted = np.asarray(target_mm) - here
    now = np.subtract(old.aim_mm, old.position_mm)
    for share, words in ((1.0, ""), (0.5, "half-way ")):
        aim = (
            here + (1 - share) * now / np.linalg.norm(now) * np.linalg.norm(wanted) + share * wanted
        )
        turn = math.degrees(angle_between(now, aim - here))
        if turn < LEAST_TURN_DEG:
            continue
        place = replace(old, aim_mm=as_vector(aim))
        text = f"turn {name_in(rig, lamp.name)} {turn:.0f} degrees {words}towards {at_what}"
        yield AdvisedMove(text, partial(with_thing, rig, replace(lamp, placement=place)))


def lamp_farther(rig: Rig, lamp: Lamp) -> Iterator[AdvisedMove]:
    """Yield longer distances for a lamp, along its own axis: its light falls off less."""
    here = np.asarray(lamp.placement.position_mm)
    away = here - np.asarray(lamp.placement.aim_mm)
    length = float(np.linalg.norm(away))
    for share in LONGER:
        step = rounded_up(share * length, 10.0)
        moved = replace(
            lamp,
            placement=replace(lamp.placement, position_mm=as_vector(here + step * away / length)),
        )
        yield AdvisedMove(
            f"move {name_in(rig, lamp.name)} {step:.0f} mm farther back along its own axis",
            partial(with_thing, rig, moved),
        )


def slide_lamp(rig: Rig, lamp: Lamp, towards_mm: tuple[float, float]) -> Iterator[AdvisedMove]:
    """Yield steps of a lamp in the level plane towards a place on the sheet and past it."""
    x, y = towards_mm
    direction = np.array([x, y, 0.0])
    if np.linalg.norm(direction) < 1e-6:
        return
    direction /= np.linalg.norm(direction)
    for step in SLIDES_MM:
        yield nudge(rig, lamp, step * _along_axis(direction))


def _along_axis(direction: Doubles) -> Doubles:
    """Return the world axis nearest to a direction, so that words and step agree."""
    axis = int(np.argmax(np.abs(direction)))
    step = np.zeros(3)
    step[axis] = math.copysign(1.0, float(direction[axis]))
    return step
