"""Slips: what is not as planned in a rig that stands, and the rig that has them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from lightplan.scene.setting_errors import ErrorDimension, built

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lightplan.arrays import Vector
    from lightplan.scene.placement import Placement
    from lightplan.scene.rig import Rig

SlipUnit: TypeAlias = Literal["mm", "deg", "stops", "cd/m2", ""]
CAMERA_SETTINGS = ("exposure", "white balance", "focus")
ROOM_DIMENSION = "light"


@dataclass(frozen=True, kw_only=True)
class Slip:
    """One thing that is not as planned.

    Parameters
    ----------
    element : str
        A lamp, card or shell by its name, "camera", "sheet", "room", "exposure",
        "white balance" or "focus".
    dimension : str
        "x_mm", "turn_deg", "power_stops", "missing", "bow_mm", "light", "stops", "blur_px".
    value : float
        As built less as planned; 1 for what is missing.
    unit : str
    uncertainty : float
        One standard deviation, same unit.
    confidence : float
        Share of belief in this explanation among all, 0 to 1.
    """

    element: str
    dimension: str
    value: float
    unit: SlipUnit
    uncertainty: float
    confidence: float


def slipped(rig: Rig, values: Mapping[tuple[str, str], float]) -> Rig:
    """Return the rig with things off by so much, by (element, dimension).

    Settings of the camera change no rig and are passed over; the room's light is added in
    cd/m2, alike in all channels.

    Raises
    ------
    RigError
        Where there can be no such rig.
    """
    moves = {n: v for n, v in values.items() if n[1] not in ("missing", ROOM_DIMENSION) and v}
    moves = {n: v for n, v in moves.items() if n[0] not in CAMERA_SETTINGS}
    dimensions = tuple(ErrorDimension(e, d, 1.0) for e, d in moves)
    found = built(rig, dimensions, np.array(list(moves.values()))) if dimensions else rig
    found = without(found, [e for e, d in values if d == "missing"])
    more = values.get(("room", ROOM_DIMENSION), 0.0)
    if more:
        r, g, b = (max(0.0, v + more) for v in found.room.ambient_cd_m2)
        found = replace(found, room=replace(found.room, ambient_cd_m2=(r, g, b)))
    return found


def without(rig: Rig, names: Iterable[str]) -> Rig:
    """Return the rig as if lamps had been left off, and cards or shells forgotten."""
    gone = set(names)
    if not gone:
        return rig
    return replace(
        rig,
        lamps=tuple(replace(x, on=x.on and x.name not in gone) for x in rig.lamps),
        cards=tuple(x for x in rig.cards if x.name not in gone),
        shells=tuple(x for x in rig.shells if x.name not in gone),
        freedoms=tuple(f for f in rig.freedoms if f.element not in gone),
    )


def sheet_put_back(rig: Rig, dimension: str, amount: float) -> Rig:
    """Return lamps, cards and shells as a sheet sees them that was put back off its place.

    They stand where they did; on the sheet's own axes all of them have moved the other way. The
    camera is left: its place beside the sheet is told by the sheet's corners.

    Parameters
    ----------
    dimension : {"x_mm", "y_mm", "turn_deg"}
        Of the sheet's step.
    """
    if dimension == "turn_deg":
        return _turned_about(rig, amount)
    names = [x.name for x in rig.lamps] + [x.name for x in rig.cards]
    names += [x.name for x in rig.shells]
    moves = tuple(ErrorDimension(name, dimension, 1.0) for name in names)
    return built(rig, moves, np.full(len(moves), -amount))


def sheet_turned(rig: Rig, turn_deg: float) -> Rig:
    """Return lamps, cards, shells and camera as a sheet sees them that was turned where it lies."""
    found = _turned_about(rig, turn_deg)
    camera = replace(rig.camera, placement=_facing(rig.camera.placement, turn_deg))
    return replace(found, camera=camera)


def _turned_about(rig: Rig, turn_deg: float) -> Rig:
    return replace(
        rig,
        lamps=tuple(replace(x, placement=_facing(x.placement, turn_deg)) for x in rig.lamps),
        cards=tuple(replace(x, placement=_facing(x.placement, turn_deg)) for x in rig.cards),
        shells=tuple(replace(x, centre_mm=_beside(x.centre_mm, turn_deg)) for x in rig.shells),
    )


def _facing(at: Placement, turn_deg: float) -> Placement:
    position, aim = (_beside(place, turn_deg) for place in (at.position_mm, at.aim_mm))
    return replace(at, position_mm=position, aim_mm=aim)


def _beside(place: Vector, turn_deg: float) -> Vector:
    """Return a place by the axes of a sheet that was turned."""
    cosine, sine = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    x, y, z = place
    return (cosine * x + sine * y, cosine * y - sine * x, z)
