"""What a hand on the page, or a line in a terminal, asks of a rig: checked words to edits."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeAlias

from lightplan.errors import BadInput, RigError
from lightplan.scene import Camera, Card, Lamp, Output, Placement, Rig, Side
from lightplan.scene.cards import CARD_FINISHES
from lightplan.scene.dimensions import value_of
from lightplan.scene.edits import (
    Add,
    Exchange,
    Lock,
    Move,
    Power,
    Remove,
    Rename,
    Set,
    Turn,
    edited,
)

Asked: TypeAlias = Mapping[str, Any]
MOST_EDITS = 20
LEAST_SIZE_MM = 20.0
REFLECTANCE = {"white": 0.85, "grey": 0.18, "black": 0.045, "silver": 0.8}
DIFFUSER = (0.35, 0.55)
"""Reflectance and transmittance of tissue; common practice, no source."""


def changed(rig: Rig, asked: Sequence[Asked]) -> Rig:
    """Return the rig after what was asked, in order.

    Each is a mapping with "do": "set" (element, dimension, value), "move" (element,
    position_mm, aim_mm, keeps_direction), "nudge" (element, by_mm and keeps_direction, or
    dimension and by), "turn" (element, turn_deg, lean_deg, roll_deg),
    "power" (element, trim_stops, on), "add" (kind, name), "remove", "copy" (element),
    "rename" (element, name), "look" (kind, direction_deg, strength_stops),
    "exposure" (stops), "title" (text), "lock" (element, locked) or "output" (element,
    lux_at_1_m).

    Raises
    ------
    BadInput
        When something cannot be understood, or the rig cannot be.
    """
    if not isinstance(asked, Sequence) or len(asked) > MOST_EDITS:
        raise _misunderstood("edits", f"a list of at most {MOST_EDITS}", asked)
    for one in asked:
        if not isinstance(one, Mapping) or one.get("do") not in _WAYS:
            raise _misunderstood("edit", "one that lightplan knows", one)
        rig = _WAYS[one["do"]](rig, one)
    return rig


def _set(rig: Rig, one: Asked) -> Rig:
    return edited(rig, Set(_text(one, "element"), _text(one, "dimension"), _number(one, "value")))


def _move(rig: Rig, one: Asked) -> Rig:
    position, aim = _place(one, "position_mm"), _place(one, "aim_mm")
    keeps = one.get("keeps_direction") is True
    move = Move(
        element=_text(one, "element"), position_mm=position, aim_mm=aim, keeps_direction=keeps
    )
    return edited(rig, move)


def _nudge(rig: Rig, one: Asked) -> Rig:
    """Go on from where a thing stands now, whatever the one who asks last saw of it."""
    name = _text(one, "element")
    if "by_mm" in one:
        by = _place(one, "by_mm") or (0.0, 0.0, 0.0)
        prop = next((one for one in rig.props if one.name == name), None)
        now = (
            [value_of(rig, name, axis) for axis in ("x_mm", "y_mm", "z_mm")]
            if prop is None
            else prop.position_mm
        )
        x, y, z = (at + step for at, step in zip(now, by, strict=True))
        return _move(rig, {**one, "position_mm": (x, y, max(0.0, z))})
    dimension = _text(one, "dimension")
    value = value_of(rig, name, dimension) + _number(one, "by")
    if dimension == "trim_stops":
        return _power(rig, {"element": name, "trim_stops": value})
    return edited(rig, Set(name, dimension, max(LEAST_SIZE_MM, value)))


def _turn(rig: Rig, one: Asked) -> Rig:
    turn, lean, roll = (
        math.radians(_number(one, name)) if name in one else 0.0
        for name in ("turn_deg", "lean_deg", "roll_deg")
    )
    element = _text(one, "element")
    return edited(rig, Turn(element=element, turn_rad=turn, lean_rad=lean, roll_rad=roll))


def _power(rig: Rig, one: Asked) -> Rig:
    trim = _number(one, "trim_stops") if "trim_stops" in one else None
    on = one["on"] if isinstance(one.get("on"), bool) else None
    return edited(rig, Power(element=_text(one, "element"), trim_stops=trim, on=on))


def _remove(rig: Rig, one: Asked) -> Rig:
    return edited(rig, Remove(_text(one, "element")))


def _add(rig: Rig, one: Asked) -> Rig:
    """Add a board, a diffuser or a lamp of a size, where it is out of the way."""
    kind = _text(one, "kind")
    width = _number(one, "width_mm") if "width_mm" in one else 420.0
    height = _number(one, "height_mm") if "height_mm" in one else 297.0
    wanted = _text(one, "name") if one.get("name") else kind
    name = free_name(rig, wanted)
    away = rig.sheet.height_mm / 2 + 250.0
    place = Placement((0.0, away, 260.0), (0.0, 0.0, 0.0))
    if kind in ("lamp", "window"):
        side = Placement((-(rig.sheet.width_mm / 2 + 400.0), 0.0, 420.0), (0.0, 0.0, 0.0))
        lamp = Lamp(
            name=name,
            placement=side,
            width_mm=width,
            height_mm=height,
            output=Output(value=2000.0, unit="lm"),
            is_window=kind == "window",
        )
        return edited(rig, Add(lamp))
    return edited(rig, Add(_card(kind, name, place, width, height)))


def _card(kind: str, name: str, place: Placement, width: float, height: float) -> Card:
    if kind == "diffuser":
        reflects, passes = DIFFUSER
        side = Side(reflectance=(reflects,) * 3)
        return Card(
            name=name,
            placement=place,
            width_mm=width,
            height_mm=height,
            front=side,
            back=side,
            transmittance=(passes,) * 3,
        )
    finish = kind.removesuffix(" board")
    if finish not in CARD_FINISHES:
        raise _misunderstood("kind", "a lamp, a diffuser or a board", kind)
    side = Side(finish=finish, reflectance=(REFLECTANCE[finish],) * 3)
    return Card(name=name, placement=place, width_mm=width, height_mm=height, front=side, back=side)


def _copy(rig: Rig, one: Asked) -> Rig:
    name = _text(one, "element")
    things: tuple[Lamp | Card, ...] = (*rig.lamps, *rig.cards)
    found = next((thing for thing in things if thing.name == name), None)
    if found is None:
        raise _misunderstood("element", "a lamp or a card", name)
    x, y, z = found.placement.position_mm
    ax, ay, az = found.placement.aim_mm
    place = replace(
        found.placement, position_mm=(x + 60.0, y + 60.0, z), aim_mm=(ax + 60.0, ay + 60.0, az)
    )
    return edited(rig, Add(replace(found, name=free_name(rig, name), placement=place)))


def _rename(rig: Rig, one: Asked) -> Rig:
    old, new = _text(one, "element"), _text(one, "name").strip()
    if not new:
        raise _misunderstood("name", "some letters", new)
    return edited(rig, Rename(old, new))


def _look(rig: Rig, one: Asked) -> Rig:
    look = rig.look
    if "kind" in one:
        look = replace(look, kind=_text(one, "kind"))  # type: ignore[arg-type]
    if "direction_deg" in one:
        look = replace(look, direction_rad=math.radians(_number(one, "direction_deg")))
    if "strength_stops" in one:
        look = replace(look, strength_stops=_number(one, "strength_stops"))
    return replace(rig, look=look)


def _exposure(rig: Rig, one: Asked) -> Rig:
    """Expose by some stops more or less."""
    camera: Camera = rig.camera.exposed_more(_number(one, "stops"), rig.sheet.paper)
    return edited(rig, Exchange(camera))


def _output(rig: Rig, one: Asked) -> Rig:
    """Say how much light a lamp gives at full power, 1 m in front of it."""
    name, lux = _text(one, "element"), _number(one, "lux_at_1_m")
    lamp = next((lamp for lamp in rig.lamps if lamp.name == name and not lamp.is_window), None)
    if lamp is None:
        raise _misunderstood("element", "a lamp", name)
    output = Output(value=float(f"{lux:.3g}"), unit="lx at 1 m")
    return edited(rig, Exchange(replace(lamp, output=output)))


def _lock(rig: Rig, one: Asked) -> Rig:
    """Lock a thing where it stands, or let it go: planning then leaves it alone."""
    return edited(rig, Lock(_text(one, "element"), one.get("locked") is True))


def _title(rig: Rig, one: Asked) -> Rig:
    return replace(rig, title=_text(one, "text")[:120])


_WAYS = {
    "set": _set,
    "move": _move,
    "nudge": _nudge,
    "turn": _turn,
    "power": _power,
    "add": _add,
    "remove": _remove,
    "copy": _copy,
    "rename": _rename,
    "look": _look,
    "exposure": _exposure,
    "title": _title,
    "lock": _lock,
    "output": _output,
}


def free_name(rig: Rig, wanted: str) -> str:
    """Return a name that nothing in the rig has: the one wanted, or with a number behind it."""
    taken = {*rig.element_names(), *(prop.name for prop in rig.props), "camera", "sheet", "table"}
    number, name = 2, wanted
    while name in taken:
        name, number = f"{wanted} {number}", number + 1
    return name


def _text(one: Asked, name: str) -> str:
    value = one.get(name)
    if not isinstance(value, str) or len(value) > 200:
        raise _misunderstood(name, "a short text", value)
    return value


def _number(one: Asked, name: str) -> float:
    value = one.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise _misunderstood(name, "a number", value)
    return float(value)


def _place(one: Asked, name: str) -> tuple[float, float, float] | None:
    value = one.get(name)
    if value is None:
        return None
    if not isinstance(value, Sequence) or isinstance(value, str) or len(value) != 3:
        raise _misunderstood(name, "three numbers", value)
    x, y, z = (_number({name: v}, name) for v in value)
    return (x, y, z)


def _misunderstood(field: str, wanted: str, got: object) -> BadInput:
    return RigError(field=field, wanted=wanted, got=got, cure="say it another way")
