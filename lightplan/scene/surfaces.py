"""From a rig to surfaces in space: what a ray can meet, and what that does with light."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat, Opening
from lightplan.scene.placement import Placement

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Vector
    from lightplan.scene.camera import Camera
    from lightplan.scene.cards import Card, Shell, Side
    from lightplan.scene.lamps import Lamp
    from lightplan.scene.props import Prop
    from lightplan.scene.rig import Rig
    from lightplan.scene.room import Table, Walls

Role: TypeAlias = Literal[
    "lamp", "window", "card", "diffuser", "shell", "prop", "camera", "table", "room", "sheet"
]
Solid: TypeAlias = Flat | Ball | Cone | Mesh
BLACK = (0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Face:
    """What one side of a surface does with the light that falls on it.

    Parameters
    ----------
    diffuse : (3,) float
        Share scattered back evenly, per channel.
    passes : (3,) float
        Share scattered evenly to the other side, per channel.
    metal : (3,) float
        Share reflected by a metal coating; 0 without one.
    roughness : float
        GGX alpha of the metal coating.
    """

    diffuse: Vector = BLACK
    passes: Vector = BLACK
    metal: Vector = BLACK
    roughness: float = 0.35

    @property
    def is_metal(self) -> bool:
        """Whether it has a metal coating."""
        return max(self.metal) > 0

    @property
    def is_dark(self) -> bool:
        """Whether it gives no light on by scattering."""
        return max(*self.diffuse, *self.passes) == 0


@dataclass(frozen=True)
class Surface:
    """One shape with its two faces; `lamp` is the index of the lamp it belongs to."""

    name: str
    role: Role
    shape: Solid
    front: Face = Face()
    back: Face = Face()
    lamp: int | None = None


# While one card moves, the others keep their surfaces, and with them their frames.
_remembered = lru_cache(maxsize=128)


def build_surfaces(rig: Rig) -> tuple[Surface, ...]:
    """Return every surface of the rig; the sheet is always first."""
    sheet = _level(rig.sheet.width_mm, rig.sheet.height_mm, 0.0)
    parts = [Surface("sheet", "sheet", sheet, Face(rig.sheet.paper.reflectance))]
    parts += [_lamp(lamp, index) for index, lamp in enumerate(rig.lamps)]
    parts += [_card(card) for card in rig.cards]
    for shell in rig.shells:
        parts += _shell(shell)
    for prop in rig.props:
        parts += _prop(prop)
    parts += _camera(rig.camera)
    if rig.room.table is not None:
        parts.append(_table(rig.room.table))
    if rig.room.walls is not None:
        parts += _walls(rig.room.walls)
    return tuple(parts)


@_remembered
def _level(width_mm: float, depth_mm: float, z_mm: float) -> Flat:
    """Return a level rectangle over the middle that faces up."""
    return Flat((0, 0, z_mm), (1, 0, 0), (0, 1, 0), width_mm / 2, depth_mm / 2)


def flat_at(
    placement: Placement,
    width_mm: float,
    height_mm: float,
    *,
    is_round: bool = False,
    openings: tuple[Opening, ...] = (),
) -> Flat:
    """Return the flat shape of a thing that stands at `placement`."""
    right, up, _ = placement.axes()
    return Flat(
        placement.position_mm,
        _tuple(right),
        _tuple(up),
        width_mm / 2,
        height_mm / 2,
        is_round,
        openings,
    )


@_remembered
def _lamp(lamp: Lamp, index: int) -> Surface:
    role: Role = "window" if lamp.is_window else "lamp"
    if lamp.shape == "bulb":
        ball = Ball(lamp.placement.position_mm, lamp.width_mm / 2)
        return Surface(lamp.name, role, ball, lamp=index)
    is_disk = lamp.shape == "disk"
    height = lamp.width_mm if is_disk else lamp.height_mm
    shape = flat_at(lamp.placement, lamp.width_mm, height, is_round=is_disk)
    return Surface(lamp.name, role, shape, lamp=index)


@_remembered
def _card(card: Card) -> Surface:
    openings: tuple[Opening, ...] = ()
    if card.hole is not None:
        openings = (Opening(*card.hole.offset_mm, card.hole.diameter_mm / 2),)
    shape = flat_at(card.placement, card.width_mm, card.height_mm, openings=openings)
    front, back = (_side(side, card.transmittance) for side in (card.front, card.back))
    return Surface(card.name, "diffuser" if card.is_diffuser else "card", shape, front, back)


def _side(side: Side, transmittance: Vector) -> Face:
    if side.finish == "silver":
        return Face(passes=transmittance, metal=side.reflectance, roughness=side.roughness)
    return Face(diffuse=side.reflectance, passes=transmittance)


@_remembered
def _shell(shell: Shell) -> list[Surface]:
    face = Face(diffuse=shell.reflectance, passes=shell.transmittance)
    if shell.shape == "cone":
        cone = Cone(
            shell.centre_mm, shell.foot_width_mm / 2, shell.top_width_mm / 2, shell.height_mm
        )
        return [Surface(shell.name, "shell", cone, face, face)]
    x, y, z = shell.centre_mm
    middle = z + shell.height_mm / 2
    half_w, half_d = shell.foot_width_mm / 2, shell.foot_depth_mm / 2
    inward = Placement
    walls = [
        (inward((x - half_w, y, middle), (x, y, middle)), shell.foot_depth_mm),
        (inward((x + half_w, y, middle), (x, y, middle)), shell.foot_depth_mm),
        (inward((x, y - half_d, middle), (x, y, middle)), shell.foot_width_mm),
        (inward((x, y + half_d, middle), (x, y, middle)), shell.foot_width_mm),
    ]
    shapes = [flat_at(place, width, shell.height_mm) for place, width in walls]
    opening = (Opening(0, 0, shell.top_width_mm / 2),) if shell.top_width_mm > 0 else ()
    roof = inward((x, y, z + shell.height_mm), (x, y, z))
    shapes.append(flat_at(roof, shell.foot_width_mm, shell.foot_depth_mm, openings=opening))
    return [Surface(shell.name, "shell", shape, face, face) for shape in shapes]


@_remembered
def _prop(prop: Prop) -> list[Surface]:
    face = Face(prop.reflectance)
    if prop.body is not None:
        back = Face() if prop.body.is_closed else face
        return [Surface(prop.name, "prop", prop.body, face, back)]
    x, y, z = prop.position_mm
    cosine, sine = math.cos(prop.turn_rad), math.sin(prop.turn_rad)
    along, across, up = (cosine, sine, 0.0), (-sine, cosine, 0.0), (0.0, 0.0, 1.0)
    half_w, half_d = prop.width_mm / 2, prop.depth_mm / 2
    is_round = prop.shape == "post"
    ends = [Flat((x, y, z + prop.height_mm), along, across, half_w, half_d, is_round)]
    if z > 0:  # else its underside is on the table or the floor
        ends.append(Flat((x, y, z), along, _opposite(across), half_w, half_d, is_round))
    parts = [Surface(prop.name, "prop", shape, face) for shape in ends]
    if is_round:
        side = Cone(prop.position_mm, half_w, half_w, prop.height_mm)
        return [*parts, Surface(prop.name, "prop", side, back=face)]  # a cone's back is outside
    middle = np.array([x, y, z + prop.height_mm / 2])
    for right, normal, reach, half in (
        (across, along, half_w, half_d),
        (_opposite(along), across, half_d, half_w),
        (_opposite(across), _opposite(along), half_w, half_d),
        (along, _opposite(across), half_d, half_w),
    ):
        centre = _tuple(middle + reach * np.asarray(normal))
        shape = Flat(centre, right, up, half, prop.height_mm / 2)
        parts.append(Surface(prop.name, "prop", shape, face))
    return parts


def _opposite(axis: Vector) -> Vector:
    return (-axis[0], -axis[1], -axis[2])


@_remembered
def _camera(camera: Camera) -> list[Surface]:
    body = camera.body
    if body is None:
        return []
    right, up, forward = camera.axes()
    offset = body.lens_offset_mm
    centre = (
        np.asarray(camera.placement.position_mm)
        - body.setback_mm * forward
        - offset[0] * right
        - offset[1] * up
    )
    shape = Flat(_tuple(centre), _tuple(-right), _tuple(up), body.width_mm / 2, body.height_mm / 2)
    dark = Face((body.reflectance,) * 3)
    return [Surface("camera", "camera", shape, dark, dark)]


@_remembered
def _table(table: Table) -> Surface:
    shape = _level(table.width_mm, table.depth_mm, -table.drop_mm)
    # its underside is left black: nothing that is seen gets light from there
    return Surface("table", "table", shape, Face(table.reflectance))


@_remembered
def _walls(walls: Walls) -> list[Surface]:
    half_w, half_d = walls.width_mm / 2, walls.depth_mm / 2
    middle = (walls.ceiling_mm - walls.floor_mm) / 2
    height = walls.ceiling_mm + walls.floor_mm
    sides = [
        ("left wall", (-half_w, 0.0, middle), walls.depth_mm),
        ("right wall", (half_w, 0.0, middle), walls.depth_mm),
        ("wall behind you", (0.0, -half_d, middle), walls.width_mm),
        ("far wall", (0.0, half_d, middle), walls.width_mm),
    ]
    upright = Face(walls.walls)
    found = [
        Surface(name, "room", flat_at(Placement(at, (0, 0, middle)), width, height), upright)
        for name, at, width in sides
    ]
    for name, z, colour in (
        ("ceiling", walls.ceiling_mm, walls.ceiling),
        ("floor", -walls.floor_mm, walls.floor),
    ):
        level = flat_at(
            Placement((0, 0, z), (0, 0, z - math.copysign(1, z))), walls.width_mm, walls.depth_mm
        )
        found.append(Surface(name, "room", level, Face(colour)))
    return found


def _tuple(values: Doubles) -> Vector:
    x, y, z = (float(v) for v in values)
    return (x, y, z)
