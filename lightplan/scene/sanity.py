"""What a maker's rig cannot be, though each of its parts is right by itself.

Planning tries such rigs on its way and weighs them; a rig that is read from a file is
refused.
"""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import BadInput, RigError, together
from lightplan.scene.lamps import Lamp

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.scene.cards import Card, Shell
    from lightplan.scene.props import Prop
    from lightplan.scene.rig import Rig

SLACK_MM = 3.0  # what a tape measure may be off
ROOM_MM = 5.0  # over the sheet that props leave free
_PLACES = ("x_mm", "y_mm", "z_mm")
_AIMS = ("aim_x_mm", "aim_y_mm", "aim_z_mm")
_SIZES = ("width_mm", "height_mm")


def refuse_impossible(rig: Rig) -> None:
    """Raise `RigError` for a rig that nobody can build or that shows no sheet.

    Raises
    ------
    RigError
        The sheet is not in the picture; a lamp or card goes through the table or the sheet;
        a cone, tent or prop stands on the sheet; a freedom names a dimension its element lacks; a
        rainbow is wanted of foil without a grating.
    """
    checks = [partial(_sheet_in_picture, rig), partial(_freedoms_exist, rig)]
    for kind, things in (("lamps", rig.lamps), ("cards", rig.cards)):
        for thing in things:
            checks.append(partial(_above_table, rig, f"{kind}.{thing.name}", _outline(thing)))
    checks += [partial(_stands_clear, rig, shell) for shell in rig.shells]
    checks += [partial(_prop_stands_clear, rig, prop) for prop in rig.props]
    checks.append(partial(_rainbow_of_grating, rig))
    faults: list[BadInput] = []
    for check in checks:
        try:
            check()
        except BadInput as error:
            faults += error.faults
    if faults:
        raise together(faults)


def _rainbow_of_grating(rig: Rig) -> None:
    if rig.look.kind == "rainbow" and rig.sheet.foil.grating is None:
        raise RigError(
            field="look.kind",
            wanted="another than rainbow for foil without a grating",
            got=rig.look.kind,
            cure="add [sheet.foil.grating], or choose bright field",
        )


def _sheet_in_picture(rig: Rig) -> None:
    steps = np.linspace(-0.5, 0.5, 9)
    x, y = np.meshgrid(steps * rig.sheet.width_mm, steps * rig.sheet.height_mm)
    points = np.stack([x, y, np.zeros_like(x)], axis=-1)
    places = rig.camera.project(points, 1, 1)  # one big pixel: inside is within half of 0
    if not (np.abs(places) <= 0.5).all(axis=-1).any():
        raise RigError(
            field="camera.aim_mm",
            wanted="where the sheet is in the picture",
            got=list(rig.camera.placement.aim_mm),
            cure="aim at the sheet's middle, [0, 0, 0]",
        )


def _outline(thing: Lamp | Card) -> Doubles:
    """Return the corners of a face, (n, 3); a disk as a polygon, a bulb as its lowest point."""
    right, up, _ = thing.placement.axes()
    centre = np.asarray(thing.placement.position_mm)
    shape = thing.shape if isinstance(thing, Lamp) else "rectangle"
    if shape == "rectangle":
        across = np.array([-1, 1, 1, -1]) * thing.width_mm / 2
        along = np.array([-1, -1, 1, 1]) * thing.height_mm / 2
    else:
        turn = 2 * math.pi * np.arange(24) / 24
        across = np.cos(turn) * thing.width_mm / 2
        along = np.sin(turn) * thing.width_mm / 2
    if shape == "bulb":  # what is just below its lowest point stands for all of it
        foot = centre - [0.0, 0.0, thing.width_mm / 2]
        return np.asarray(foot + 1e-3 * np.stack([across, along, 0 * along], axis=-1))
    return np.asarray(centre + across[:, None] * right + along[:, None] * up)


def _above_table(rig: Rig, name: str, outline: Doubles) -> None:
    half, top = _table_top(rig)
    over_table = _over(outline, half)
    if len(over_table) and over_table[:, 2].min() < top - SLACK_MM:
        raise RigError(
            field=f"{name}.position_mm",
            wanted="such that all of it is above the table",
            got=f"{over_table[:, 2].min():.0f} mm at its lowest",
            cure="raise its z by that much, or turn it",
        )


def _table_top(rig: Rig) -> tuple[tuple[float, float], float]:
    """Half the size of what things stand on, and its height, mm."""
    table = rig.room.table
    if table is None:
        return (rig.sheet.width_mm / 2, rig.sheet.height_mm / 2), 0.0
    return (table.width_mm / 2, table.depth_mm / 2), -table.drop_mm


def _over(polygon: Doubles, half: tuple[float, float]) -> Doubles:
    """Return the part of a convex polygon (n, 3) over or under a rectangle at the origin."""
    for axis in (0, 1):
        polygon = _kept(polygon, half[axis] - polygon[:, axis])
        polygon = _kept(polygon, half[axis] + polygon[:, axis])
    return polygon


def _prop_stands_clear(rig: Rig, prop: Prop) -> None:
    name = f"props.{prop.name}"
    half, top = _table_top(rig)
    for part in _low_parts(prop, half, top - SLACK_MM):
        _above_table(rig, name, part)
    sheet = (rig.sheet.width_mm / 2 - 0.01, rig.sheet.height_mm / 2 - 0.01)
    for part in _low_parts(prop, sheet, ROOM_MM):
        if len(_over(part, sheet)):
            raise RigError(
                field=f"{name}.position_mm",
                wanted="clear of the sheet",
                got=list(prop.position_mm),
                cure="move it off the sheet",
            )


def _low_parts(prop: Prop, half: tuple[float, float], height: float) -> list[Doubles]:
    """Return faces of a prop below a height, those left out that are clear of a rectangle."""
    parts = _foot(prop)[None] if prop.body is None else prop.body.vertices[prop.body.faces]
    low, high = parts.min(axis=1), parts.max(axis=1)
    close = low[:, 2] < height
    for axis in (0, 1):
        close &= (low[:, axis] < half[axis]) & (high[:, axis] > -half[axis])
    return list(parts[close])


def _foot(prop: Prop) -> Doubles:
    """Return the outline of the foot of a post or box, (n, 3)."""
    if prop.shape == "post":
        turn = 2 * math.pi * np.arange(24) / 24
        across, along = np.cos(turn), np.sin(turn)
    else:
        across, along = np.array([-1, 1, 1, -1]), np.array([-1, -1, 1, 1])
    x, y = across * prop.width_mm / 2, along * prop.depth_mm / 2
    cosine, sine = math.cos(prop.turn_rad), math.sin(prop.turn_rad)
    flat = np.stack([cosine * x - sine * y, sine * x + cosine * y, 0 * x], axis=1)
    return np.asarray(flat + prop.position_mm)


def _kept(polygon: Doubles, distance: Doubles) -> Doubles:
    """Return the part of a convex polygon (n, 3) where `distance` (n,) is not negative."""
    found = []
    for i in range(len(polygon)):
        a, b = polygon[i - 1], polygon[i]
        da, db = distance[i - 1], distance[i]
        if (da < 0) != (db < 0):
            found.append(a + (b - a) * da / (da - db))
        if db >= 0:
            found.append(b)
    return np.reshape(found, (-1, 3))


def _stands_clear(rig: Rig, shell: Shell) -> None:
    x, y, z = shell.centre_mm
    far_x = rig.sheet.width_mm / 2 + abs(x)
    far_y = rig.sheet.height_mm / 2 + abs(y)
    if shell.shape == "cone":
        clear = math.hypot(far_x, far_y) <= shell.foot_width_mm / 2
    else:
        clear = far_x <= shell.foot_width_mm / 2 and far_y <= shell.foot_depth_mm / 2
    name = f"shells.{shell.name}"
    if z < -SLACK_MM:
        raise RigError(
            field=f"{name}.centre_mm",
            wanted="on the table or above (z of 0 or more)",
            got=list(shell.centre_mm),
            cure="its foot stands at z = 0",
        )
    if z < SLACK_MM and not clear:
        raise RigError(
            field=f"{name}.foot_width_mm",
            wanted="wide enough to stand round the sheet",
            got=shell.foot_width_mm,
            cure="make its foot wider, or raise it (z)",
        )


def _freedoms_exist(rig: Rig) -> None:
    allowed: dict[str, tuple[str, ...]] = {"camera": _PLACES + _AIMS}
    allowed.update({lamp.name: (*_PLACES, *_AIMS, *_SIZES, "trim_stops") for lamp in rig.lamps})
    allowed.update({card.name: (*_PLACES, *_AIMS, *_SIZES, "hole_mm") for card in rig.cards})
    allowed.update({shell.name: (*_PLACES, *_SIZES, "hole_mm") for shell in rig.shells})
    seen: set[tuple[str, str]] = set()
    for freedom in rig.freedoms:
        key = (freedom.element, freedom.dimension)
        if freedom.dimension not in allowed[freedom.element]:
            raise RigError(
                field=f"freedoms.{freedom.element}.dimension",
                wanted="one of " + ", ".join(allowed[freedom.element]),
                got=freedom.dimension,
                cure="choose one of these, or leave this freedom out",
            )
        if key in seen:
            raise RigError(
                field=f"freedoms.{freedom.element}.{freedom.dimension}",
                wanted="given once",
                got="twice",
                cure="take one of them out",
            )
        seen.add(key)
