"""The one place that changes a rig, by the edits of `edit_kinds`.

Edits are plain values, so that a list of them can be kept, told and undone. However many are
made at once, the parts they touch and the whole rig are checked once, at the end.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from lightplan.errors import RigError
from lightplan.scene.camera import Camera
from lightplan.scene.cards import Card, Hole, Shell
from lightplan.scene.edit_kinds import Add as Add
from lightplan.scene.edit_kinds import Edit as Edit
from lightplan.scene.edit_kinds import Exchange as Exchange
from lightplan.scene.edit_kinds import Lock as Lock
from lightplan.scene.edit_kinds import Move as Move
from lightplan.scene.edit_kinds import Power as Power
from lightplan.scene.edit_kinds import Remove as Remove
from lightplan.scene.edit_kinds import Rename as Rename
from lightplan.scene.edit_kinds import Set as Set
from lightplan.scene.edit_kinds import Thing as Thing
from lightplan.scene.edit_kinds import Turn as Turn
from lightplan.scene.lamps import Lamp
from lightplan.scene.props import Prop

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles, Vector
    from lightplan.scene.placement import Placement
    from lightplan.scene.rig import Rig

_Placed = TypeVar("_Placed", Lamp, Card, Camera)

POSITION = ("x_mm", "y_mm", "z_mm")
AIM = ("aim_x_mm", "aim_y_mm", "aim_z_mm")
SHELL_SIZES = {"width_mm": "foot_width_mm", "height_mm": "height_mm", "hole_mm": "top_width_mm"}
"""What a freedom's dimension is called on a cone or tent."""


def edited(rig: Rig, *edits: Edit) -> Rig:
    """Return the rig after some edits, made in order.

    Raises
    ------
    RigError
        Where there is no such thing, it has no such dimension, or the rig cannot be.

    Examples
    --------
    >>> from lightplan.scene import Camera, Lamp, Placement, Rig, Sheet
    >>> key = Lamp(name="key", placement=Placement((0, 0, 800)))
    >>> rig = Rig(title="one lamp", sheet=Sheet(width_mm=90, height_mm=50), lamps=(key,),
    ...           camera=Camera(placement=Placement((0, -500, 500))))
    >>> other = edited(rig, Set("key", "x_mm", 300.0), Power(element="key", trim_stops=-1.0))
    >>> other.lamps[0].placement.position_mm, other.lamps[0].trim_stops
    ((300.0, 0.0, 800.0), -1.0)
    """
    parts = _Parts(rig)
    waiting: dict[str, dict[str, float]] = {}
    for edit in edits:
        if isinstance(edit, Set):
            waiting.setdefault(edit.element, {})[edit.dimension] = edit.value
            continue
        parts.set_values(waiting)
        waiting = {}
        parts.make(edit)
    parts.set_values(waiting)
    return parts.rig()


def set_values(rig: Rig, values: Mapping[tuple[str, str], float]) -> Rig:
    """Return the rig with dimensions (element, dimension) set to values in mm or stops."""
    return edited(rig, *(Set(element, name, value) for (element, name), value in values.items()))


class _Parts:
    """A rig taken apart: its things by name, in the file's order."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._camera, self._freedoms = rig, rig.camera, rig.freedoms
        things: tuple[Thing, ...] = (*rig.lamps, *rig.cards, *rig.shells, *rig.props)
        self._things = {thing.name: thing for thing in things}

    def rig(self) -> Rig:
        """Return them put together; what did not change is the same object as before."""
        of_kind = {
            name: tuple(x for x in self._things.values() if isinstance(x, kind))
            for name, kind in (("lamps", Lamp), ("cards", Card), ("shells", Shell), ("props", Prop))
        }
        changes: dict[str, Any] = {
            name: things
            for name, things in of_kind.items()
            if not _same(things, getattr(self._rig, name))
        }
        if self._camera is not self._rig.camera:
            changes["camera"] = self._camera
        if self._freedoms is not self._rig.freedoms:
            changes["freedoms"] = self._freedoms
        return replace(self._rig, **changes) if changes else self._rig

    def make(self, edit: Edit) -> None:
        """Make one edit."""
        if isinstance(edit, Add):
            self._add(edit)
        elif isinstance(edit, Remove):
            self._named(edit.element)
            del self._things[edit.element]
            self._freedoms = tuple(f for f in self._freedoms if f.element != edit.element)
        elif isinstance(edit, Exchange):
            if not isinstance(edit.thing, Camera):
                self._named(edit.thing.name)
            self._put(edit.thing)
        elif isinstance(edit, Power):
            self._power(edit)
        elif isinstance(edit, Move):
            self._move(edit)
        elif isinstance(edit, Rename):
            self._rename(edit)
        elif isinstance(edit, Lock):
            self._lock(edit)
        elif isinstance(edit, Set):
            self.set_values({edit.element: {edit.dimension: edit.value}})
        else:
            thing = self._placed(edit.element)
            self._put(replace(thing, placement=turned(thing.placement, edit)))

    def set_values(self, values: Mapping[str, Mapping[str, float]]) -> None:
        """Set dimensions of things, {element: {dimension: value}}."""
        for element, changes in values.items():
            thing = self._camera if element == "camera" else self._named(element)
            for dimension in changes:
                if dimension not in dimensions_of(thing):
                    raise no_such_dimension(element, dimension)
            self._put(_with(thing, changes))

    def _add(self, edit: Add) -> None:
        self._refuse_taken(edit.thing.name)
        self._things[edit.thing.name] = edit.thing
        if edit.freedoms:
            self._freedoms = (*self._freedoms, *edit.freedoms)

    def _refuse_taken(self, name: str) -> None:
        if name in self._things:
            raise RigError(
                field="name",
                wanted="one that no other thing in the rig has",
                got=name,
                cure="rename one of them",
            )

    def _rename(self, edit: Rename) -> None:
        thing = self._named(edit.element)
        if edit.name != edit.element:
            self._refuse_taken(edit.name)
        renamed = replace(thing, name=edit.name)
        in_order = [renamed if x is thing else x for x in self._things.values()]
        self._things = {x.name: x for x in in_order}
        self._freedoms = tuple(
            replace(f, element=edit.name) if f.element == edit.element else f
            for f in self._freedoms
        )

    def _lock(self, edit: Lock) -> None:
        thing = self._named(edit.element)
        if isinstance(thing, Prop):
            raise RigError(
                field="element",
                wanted="a thing that can be locked",
                got=edit.element,
                cure="leave it as it is",
            )
        if edit.locked:  # a locked thing has no freedoms
            self._freedoms = tuple(f for f in self._freedoms if f.element != edit.element)
        self._put(replace(thing, locked=edit.locked))

    def _power(self, edit: Power) -> None:
        lamp = self._named(edit.element)
        if not isinstance(lamp, Lamp):
            raise RigError(
                field="element",
                wanted="the name of a lamp",
                got=edit.element,
                cure="use one of " + ", ".join(x.name for x in self._rig.lamps),
            )
        trim = lamp.trim_stops if edit.trim_stops is None else edit.trim_stops
        self._put(replace(lamp, trim_stops=trim, on=lamp.on if edit.on is None else edit.on))

    def _move(self, edit: Move) -> None:
        thing = self._camera if edit.element == "camera" else self._named(edit.element)
        if isinstance(thing, Shell):
            self._put(replace(thing, centre_mm=_or(edit.position_mm, thing.centre_mm)))
        elif isinstance(thing, Prop):
            self._put(replace(thing, position_mm=_or(edit.position_mm, thing.position_mm)))
        else:
            self._put(replace(thing, placement=_moved(thing.placement, edit)))

    def _named(self, name: str) -> Thing:
        if name in self._things:
            return self._things[name]
        raise no_such_element(self._rig, name)

    def _placed(self, name: str) -> Lamp | Card | Camera:
        thing = self._camera if name == "camera" else self._named(name)
        if isinstance(thing, Lamp | Card | Camera):
            return thing
        raise RigError(
            field="element",
            wanted="a lamp, a card or the camera, which can be turned",
            got=name,
            cure="leave it as it stands",
        )

    def _put(self, thing: Thing | Camera) -> None:
        if isinstance(thing, Camera):
            self._camera = thing
        else:
            self._things[thing.name] = thing


def no_such_element(rig: Rig, name: str) -> RigError:
    """Return the error that names all lamps, cards and shells of a rig."""
    return RigError(
        field="element",
        wanted="the name of a lamp, card or shell",
        got=name,
        cure="use one of " + ", ".join(rig.element_names()),
    )


def no_such_dimension(element: str, dimension: str) -> RigError:
    """Return the error of a dimension that an element does not have."""
    return RigError(
        field=f"freedom {element}.{dimension}",
        wanted="a dimension that this element has",
        got=dimension,
        cure="leave this freedom out",
    )


def dimensions_of(thing: Thing | Camera) -> tuple[str, ...]:
    """Return the dimensions that can be set on a thing."""
    if isinstance(thing, Shell):
        return (*POSITION, *SHELL_SIZES)
    if isinstance(thing, Prop):
        return POSITION
    if isinstance(thing, Camera):
        return (*POSITION, *AIM)
    own = "trim_stops" if isinstance(thing, Lamp) else "hole_mm"
    return (*POSITION, *AIM, "width_mm", "height_mm", own)


def turned(placement: Placement, by: Turn) -> Placement:
    """Return a placement turned by so much; its middle and the length of its aim stay."""
    way = np.subtract(placement.aim_mm, placement.position_mm)
    length = float(np.linalg.norm(way))
    level = math.hypot(way[0], way[1])
    heading = math.atan2(way[1], way[0]) if level > 1e-9 * length else math.pi / 2
    tilt = math.atan2(way[2], level) + by.lean_rad
    heading -= by.turn_rad
    ahead = length * np.array(
        [math.cos(tilt) * math.cos(heading), math.cos(tilt) * math.sin(heading), math.sin(tilt)]
    )
    return replace(
        placement,
        aim_mm=as_vector(np.add(placement.position_mm, ahead)),
        roll_rad=placement.roll_rad + by.roll_rad,
    )


def as_vector(values: Doubles | Sequence[float]) -> Vector:
    """Return three numbers as a place."""
    x, y, z = (float(v) for v in values)
    return (x, y, z)


def _moved(old: Placement, edit: Move) -> Placement:
    position = _or(edit.position_mm, old.position_mm)
    aim = _or(edit.aim_mm, old.aim_mm)
    if edit.aim_mm is None and edit.keeps_direction:
        aim = as_vector(np.add(position, np.subtract(old.aim_mm, old.position_mm)))
    return replace(old, position_mm=position, aim_mm=aim)


def _or(value: Vector | None, old: Vector) -> Vector:
    return old if value is None else value


def _with(thing: Thing | Camera, changes: Mapping[str, float]) -> Thing | Camera:
    """Return a thing with dimensions set that it has."""
    if isinstance(thing, Shell):
        sizes: dict[str, Any] = {SHELL_SIZES[k]: v for k, v in changes.items() if k in SHELL_SIZES}
        return replace(thing, centre_mm=_vector(thing.centre_mm, changes, POSITION), **sizes)
    if isinstance(thing, Prop):
        return replace(thing, position_mm=_vector(thing.position_mm, changes, POSITION))
    plain: dict[str, Any] = {
        k: v for k, v in changes.items() if k in ("width_mm", "height_mm", "trim_stops")
    }
    if isinstance(thing, Card) and "hole_mm" in changes:
        plain["hole"] = _hole(thing, changes["hole_mm"])
    if changes.keys() & {*POSITION, *AIM}:
        plain["placement"] = replace(
            thing.placement,
            position_mm=_vector(thing.placement.position_mm, changes, POSITION),
            aim_mm=_vector(thing.placement.aim_mm, changes, AIM),
        )
    return replace(thing, **plain)


def _hole(card: Card, diameter_mm: float) -> Hole | None:
    offset = (0.0, 0.0) if card.hole is None else card.hole.offset_mm
    return Hole(diameter_mm=diameter_mm, offset_mm=offset) if diameter_mm > 0 else None


def _vector(old: Vector, changes: Mapping[str, float], names: tuple[str, ...]) -> Vector:
    x, y, z = (changes.get(name, value) for name, value in zip(names, old, strict=True))
    return (x, y, z)


def _same(things: tuple[Thing, ...], others: tuple[Thing, ...]) -> bool:
    return len(things) == len(others) and all(a is b for a, b in zip(things, others, strict=True))
