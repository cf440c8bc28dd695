"""The numbered things of a setup sheet: where each stands and the outline it has."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from lightplan.reports.setup.holding_words import holding_words
from lightplan.scene.surfaces import flat_at
from lightplan.units import LengthUnit, show_length
from lightplan.words import stances

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Vector
    from lightplan.scene import Camera, Card, Lamp, Placement, Prop, Rig, Sheet, Shell

Kind: TypeAlias = Literal[
    "camera",
    "lamp",
    "window",
    "white card",
    "grey card",
    "black card",
    "silver card",
    "diffuser",
    "cone",
    "tent",
    "post",
    "box",
    "body",
]
PROP_KINDS: tuple[Kind, ...] = ("post", "box", "body")
ON_TABLE_MM = 2.0  # a foot so near to the table top stands on it
ROUND = 40  # corners that a drawn circle has


@dataclass(frozen=True, kw_only=True, eq=False)
class Element:
    """One thing of the rig, ready to be drawn and told.

    Parameters
    ----------
    number : int
        In its balloon and in the table.
    name : str
        As in the rig file.
    kind : str
    position_mm : (3,) float
        Lens, middle of the face, or the middle of the foot of a cone, tent or prop.
    facing : (3,) float or None
        Unit direction of the face or lens.
    rings_mm : tuple of (n, 3) float
        Closed outlines.
    size : str
        In words.
    stance : str
        In words.
    """

    number: int
    name: str
    kind: Kind
    position_mm: Vector
    facing: Vector | None
    rings_mm: tuple[Doubles, ...]
    size: str
    stance: str

    @property
    def lowest_mm(self) -> float:
        """Height of its lowest edge above the table."""
        return float(min(ring[:, 2].min() for ring in self.rings_mm))

    @property
    def highest_mm(self) -> float:
        """Height of its highest edge above the table."""
        return float(max(ring[:, 2].max() for ring in self.rings_mm))


def elements_of(rig: Rig, unit: LengthUnit = "mm") -> tuple[Element, ...]:
    """Return the camera, props, cards, shells and lamps, numbered from 1 in build order.

    Lamps that are switched off are left out: nothing has to be set up for them. Stands come
    before what they hold.
    """
    sheet = rig.sheet
    found = [_held(_camera(rig.camera, unit), rig.camera, sheet, unit)]
    for prop in rig.props:
        found.append(_prop(prop, len(found) + 1, rig, unit))
    bright = [card for card in rig.cards if card.front.finish != "black"]
    black = [card for card in rig.cards if card.front.finish == "black"]
    lamps = [lamp for lamp in rig.lamps if lamp.on]
    for card in bright:
        found.append(_held(_card(card, len(found) + 1, unit), card, sheet, unit))
    for shell in rig.shells:
        found.append(_shell(shell, len(found) + 1, unit))
    for lamp in lamps:
        found.append(_held(_lamp(lamp, len(found) + 1, unit), lamp, sheet, unit))
    for card in black:
        found.append(_held(_card(card, len(found) + 1, unit), card, sheet, unit))
    return tuple(found)


def _held(element: Element, thing: Camera | Card | Lamp, sheet: Sheet, unit: LengthUnit) -> Element:
    """Return an element that also says what holds it."""
    points = np.vstack(element.rings_mm)
    low = points[points[:, 2] <= points[:, 2].min() + 1.0].mean(axis=0)
    words = holding_words(thing, low, sheet, unit)
    return replace(element, stance=f"{element.stance}; {words}") if words else element


def size_words(width_mm: float, height_mm: float, unit: LengthUnit) -> str:
    """Return a size, width first.

    >>> size_words(420.0, 297.0, "cm")
    '42.0 x 29.7 cm'
    """
    first = show_length(width_mm, unit).removesuffix(f" {unit}")
    return f"{first} x {show_length(height_mm, unit)}"


def _camera(camera: Camera, unit: LengthUnit) -> Element:
    place = camera.placement
    right, up, forward = camera.axes()
    position = np.asarray(place.position_mm)
    body = camera.body
    if body is None:
        rings = (position[None, :],)
        size = "lens"
    else:
        offset = body.lens_offset_mm
        middle = position - body.setback_mm * forward - offset[0] * right - offset[1] * up
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [body.width_mm, body.height_mm]
        rings = (middle + half[:, :1] / 2 * right + half[:, 1:] / 2 * up,)
        size = stances.lens(camera)
    return Element(
        number=1,
        name="camera",
        kind="camera",
        position_mm=place.position_mm,
        facing=_tuple(forward),
        rings_mm=rings,
        size=size,
        stance=stances.camera_stance(place, unit),
    )


def card_kind(card: Card) -> Kind:
    """Return what a card is called."""
    if card.is_diffuser:
        return "diffuser"
    kinds: dict[str, Kind] = {
        "white": "white card",
        "grey": "grey card",
        "black": "black card",
        "silver": "silver card",
    }
    return kinds[card.front.finish]


def _card(card: Card, number: int, unit: LengthUnit) -> Element:
    size = size_words(card.width_mm, card.height_mm, unit)
    return Element(
        number=number,
        name=card.name,
        kind=card_kind(card),
        position_mm=card.placement.position_mm,
        facing=_normal(card.placement),
        rings_mm=_card_rings(card),
        size=size,
        stance=stances.stance(card.placement),
    )


def _card_rings(card: Card) -> tuple[Doubles, ...]:
    rim = flat_at(card.placement, card.width_mm, card.height_mm).outline()
    if card.hole is None:
        return (rim,)
    right, up, _ = card.placement.axes()
    x, y = card.hole.offset_mm
    middle = np.asarray(card.placement.position_mm) + x * right + y * up
    return (rim, middle + _circle(card.hole.diameter_mm / 2) @ np.stack([right, up]))


def _lamp(lamp: Lamp, number: int, unit: LengthUnit) -> Element:
    position = np.asarray(lamp.placement.position_mm)
    right, up, _ = lamp.placement.axes()
    is_bulb = lamp.shape == "bulb"
    if is_bulb:
        ring = _circle(lamp.width_mm / 2)
        rings: tuple[Doubles, ...] = tuple(
            position + ring @ axes for axes in (np.eye(3)[:2], np.eye(3)[1:])
        )
    elif lamp.shape == "disk":
        rings = (position + _circle(lamp.width_mm / 2) @ np.stack([right, up]),)
    else:
        rings = (flat_at(lamp.placement, lamp.width_mm, lamp.height_mm).outline(),)
    size = (
        size_words(lamp.width_mm, lamp.height_mm, unit)
        if lamp.shape == "rectangle"
        else f"{show_length(lamp.width_mm, unit)} across"
    )
    return Element(
        number=number,
        name=lamp.name,
        kind="window" if lamp.is_window else "lamp",
        position_mm=lamp.placement.position_mm,
        facing=None if is_bulb else _normal(lamp.placement),
        rings_mm=rings,
        size=size,
        stance="shines all round" if is_bulb else stances.lamp_stance(lamp.placement),
    )


def _shell(shell: Shell, number: int, unit: LengthUnit) -> Element:
    x, y, z = shell.centre_mm
    foot, top = np.array([x, y, z]), np.array([x, y, z + shell.height_mm])
    level = np.eye(3)[:2]
    opening = top + _circle(max(shell.top_width_mm, 1.0) / 2) @ level
    high = show_length(shell.height_mm, unit)
    if shell.shape == "cone":
        rings: tuple[Doubles, ...] = (foot + _circle(shell.foot_width_mm / 2) @ level, opening)
        size = f"{show_length(shell.foot_width_mm, unit)} wide at the foot, {high} high"
    else:
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
        half = half * [shell.foot_width_mm, shell.foot_depth_mm]
        rings = (foot + half @ level, top + half @ level)
        if shell.top_width_mm > 0:
            rings = (*rings, opening)
        size = f"{size_words(shell.foot_width_mm, shell.foot_depth_mm, unit)}, {high} high"
    return Element(
        number=number,
        name=shell.name,
        kind=shell.shape,
        position_mm=shell.centre_mm,
        facing=None,
        rings_mm=rings,
        size=size,
        stance="stands upright on its foot",
    )


def _prop(prop: Prop, number: int, rig: Rig, unit: LengthUnit) -> Element:
    kind: Kind = "body" if prop.shape == "mesh" else "post" if prop.shape == "post" else "box"
    rings = _prop_rings(prop)
    corners = np.vstack(rings)
    high = show_length(float(np.ptp(corners[:, 2])), unit)
    if prop.shape == "post":
        size = f"{show_length(prop.width_mm, unit)} thick, {high} high"
    else:
        wide, deep = (
            (prop.width_mm, prop.depth_mm)
            if prop.shape == "box"
            else np.ptp(corners[:, :2], axis=0)
        )
        size = f"{size_words(float(wide), float(deep), unit)}, {high} high"
    return Element(
        number=number,
        name=prop.name,
        kind=kind,
        position_mm=prop.position_mm,
        facing=None,
        rings_mm=rings,
        size=size,
        stance=_prop_stance(prop, rig),
    )


def _prop_rings(prop: Prop) -> tuple[Doubles, Doubles]:
    """Return the outlines of the foot and the top; of a mesh, of the box round it."""
    body = prop.body
    if body is not None:
        (a, b, low), (c, d, high) = body.vertices.min(axis=0), body.vertices.max(axis=0)
        level = np.array([[a, b], [c, b], [c, d], [a, d]])
    else:
        x, y, low = prop.position_mm
        high = low + prop.height_mm
        half = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2 * [prop.width_mm, prop.depth_mm]
        if prop.shape == "post":
            half = _circle(prop.width_mm / 2)
        cosine, sine = math.cos(prop.turn_rad), math.sin(prop.turn_rad)
        level = half @ np.array([[cosine, sine], [-sine, cosine]]) + [x, y]
    foot, top = (np.column_stack([level, np.full(len(level), z)]) for z in (low, high))
    return foot, top


def _prop_stance(prop: Prop, rig: Rig) -> str:
    drop = 0.0 if rig.room.table is None else rig.room.table.drop_mm
    on_table = abs(prop.position_mm[2] + drop) <= ON_TABLE_MM or abs(prop.position_mm[2]) <= 0.5
    text = "upright on its foot" + (", on the table" if on_table else "")
    turn = math.degrees(prop.turn_rad)
    if prop.shape == "post" or abs(turn) < stances.SMALLEST_SHOWN_DEG:
        return text
    way = "anticlockwise" if turn > 0 else "clockwise"
    return f"{text}; turned {stances.degrees(prop.turn_rad)} {way}, seen from above"


def _circle(radius_mm: float) -> Doubles:
    turn = 2 * math.pi * np.arange(ROUND) / ROUND
    return np.asarray(radius_mm * np.stack([np.cos(turn), np.sin(turn)], axis=-1))


def _normal(placement: Placement) -> Vector:
    return _tuple(placement.axes()[2])


def _tuple(values: Doubles) -> Vector:
    x, y, z = (float(v) for v in values)
    return (x, y, z)
