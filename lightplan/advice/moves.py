"""Moves that might cure a fault: one change of one thing, in mm, degrees or stops.

Amounts are rounded to what a maker can set before the rig is changed, so that the words
and the prediction are the same move.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from lightplan.scene import Camera, Card, Lamp, Placement, Rig
from lightplan.scene.edits import Exchange, Thing, as_vector, edited
from lightplan.words.places import way
from lightplan.words.things import name_in, rounded_up, stops_in_thirds

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from lightplan.arrays import Doubles, Vector

SETTING_MARGIN_MM = 5.0
Placed = TypeVar("Placed", Lamp, Card)


@dataclass(frozen=True, eq=False)
class AdvisedMove:
    """One change.

    Parameters
    ----------
    text : str
        An order without full stop.
    build : callable
        Gives the rig after it; raises `RigError` where there can be no such rig.
    """

    text: str
    build: Callable[[], Rig]


def exposure_move(rig: Rig, stops: float) -> AdvisedMove:
    """Return the move that exposes by some thirds of a stop more (or less)."""
    stops = round(3 * stops) / 3
    word = "more" if stops > 0 else "less"
    text = f"expose {stops_in_thirds(stops)} {word}"
    camera = rig.camera.exposed_more(stops, rig.sheet.paper)
    return AdvisedMove(text, partial(with_thing, rig, camera))


def trim_move(rig: Rig, lamp: Lamp, stops: float) -> AdvisedMove:
    """Return the move that turns a lamp up or down."""
    turned = replace(lamp, trim_stops=lamp.trim_stops + stops)
    text = f"turn {name_in(rig, lamp.name)} {'up' if stops > 0 else 'down'} by "
    return AdvisedMove(text + stops_in_thirds(stops), partial(with_thing, rig, turned))


def camera_aside(rig: Rig) -> Iterator[AdvisedMove]:
    """Yield the steps sideways after which the camera no longer sees itself in the sheet.

    The body's reflection is half the body wide (at the lens's distance), so the lens must
    pass the edge of the sheet by a quarter of the body; the camera turns back to its aim.
    """
    body = rig.camera.body
    if body is None:
        return
    x, y, z = rig.camera.placement.position_mm
    half_w = rig.sheet.width_mm / 2 + body.width_mm / 4
    half_d = rig.sheet.height_mm / 2 + body.height_mm / 4
    shift_x, shift_y = body.lens_offset_mm[0] / 2, body.lens_offset_mm[1] / 2
    targets: list[Vector] = [
        (x, -(half_d + abs(shift_y)), z),
        (x, half_d + abs(shift_y), z),
        (half_w + abs(shift_x), y, z),
        (-(half_w + abs(shift_x)), y, z),
    ]
    aim = rig.camera.placement.aim_mm
    for target in sorted(targets, key=lambda t: math.dist(t, (x, y, z)))[:2]:
        step = np.subtract(target, (x, y, z))
        length = rounded_up(float(np.linalg.norm(step)) + SETTING_MARGIN_MM)
        step = step / np.linalg.norm(step) * length
        place = Placement(as_vector(np.array([x, y, z]) + step), aim, rig.camera.placement.roll_rad)
        turn = math.degrees(
            angle_between(np.subtract(aim, (x, y, z)), np.subtract(aim, place.position_mm))
        )
        text = f"move the camera {length:.0f} mm {way(step)} and turn it back to the sheet"
        yield AdvisedMove(
            f"{text} ({turn:.0f} degrees)",
            partial(with_thing, rig, replace(rig.camera, placement=place)),
        )


def nudge(rig: Rig, element: Lamp | Card, step_mm: Doubles) -> AdvisedMove:
    """Return the move of a lamp (its aim as before) or of a card (its direction as before)."""
    text = f"move {name_in(rig, element.name)} {np.linalg.norm(step_mm):.0f} mm {way(step_mm)}"
    if isinstance(element, Lamp):
        moved = moved_by(element, step_mm, keep_aim=True)
        return AdvisedMove(f"{text}, its aim as before", partial(with_thing, rig, moved))
    return AdvisedMove(text, partial(with_thing, rig, moved_by(element, step_mm)))


def moved_by(element: Placed, step_mm: Doubles, *, keep_aim: bool = False) -> Placed:
    """Return a lamp or card moved; it keeps its direction, or its aim."""
    old = element.placement
    aim = old.aim_mm if keep_aim else as_vector(np.add(old.aim_mm, step_mm))
    place = replace(old, position_mm=as_vector(np.add(old.position_mm, step_mm)), aim_mm=aim)
    return replace(element, placement=place)


def with_thing(rig: Rig, thing: Thing | Camera) -> Rig:
    """Return the rig with the thing of that name, or the camera, exchanged."""
    return edited(rig, Exchange(thing))


def angle_between(one: Doubles, two: Doubles) -> float:
    """Return the angle between two directions, in rad."""
    cosine = float(one @ two) / float(np.linalg.norm(one) * np.linalg.norm(two))
    return math.acos(min(1.0, max(-1.0, cosine)))
