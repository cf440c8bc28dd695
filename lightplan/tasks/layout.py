"""The set as it is drawn in plan and from the side: outlines, rays, what each thing may do.

Plain values in millimetres, degrees and stops, for whatever draws it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.cone import Cone
from lightplan.geometry.mesh import Mesh
from lightplan.geometry.shapes import Flat
from lightplan.mirror.family import family_on_plane
from lightplan.mirror.rays import mirrored_rays
from lightplan.reports.cautions import cautions_for
from lightplan.reports.palette import colours_by_name
from lightplan.reports.viewpoint import telling_turn
from lightplan.scene import HOLDER_KINDS, Camera, Card, Lamp, Prop, Rig, Shell
from lightplan.scene.clearance import broken
from lightplan.scene.edits import dimensions_of
from lightplan.scene.look import LOOK_KINDS
from lightplan.scene.surfaces import Surface, build_surfaces

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles
    from lightplan.rigfiles import LoadedRig, PlanRecord

Table: TypeAlias = dict[str, Any]
Thing: TypeAlias = Lamp | Card | Shell | Prop
ROUND = 28
FREE_RAY_MM = 900.0
"""How far a ray is drawn that meets nothing."""


def layout(rig: Rig) -> Table:
    """Return everything that is drawn of a rig, and the numbers that stand beside it."""
    surfaces = build_surfaces(rig)
    rings = _rings(surfaces)
    things: tuple[Thing, ...] = (*rig.lamps, *rig.cards, *rig.shells, *rig.props)
    names = [thing.name for thing in things]
    colours = dict(zip(names, colours_by_name(rig, names), strict=True))
    roles = {surface.name: str(surface.role) for surface in surfaces}
    return {
        "title": rig.title,
        "look": {
            "kind": rig.look.kind,
            "direction_deg": math.degrees(rig.look.direction_rad),
            "strength_stops": rig.look.strength_stops,
        },
        "looks": list(LOOK_KINDS),
        "sheet": _sheet(rig),
        "camera": _camera(rig.camera, rings.get("camera", [])),
        "table": _table(rig),
        "view": list(telling_turn(rig)),
        "reach_mm": rig.room.reach.farthest_mm,
        "things": [
            _thing(thing, roles[thing.name], rings[thing.name], colours[thing.name])
            for thing in things
        ],
        "rays": _rays(rig, surfaces),
        "families": _families(rig),
        "limits": [
            {"sentence": limit.sentence, "elements": list(limit.elements)} for limit in broken(rig)
        ],
    }


def outlines(rig: Rig) -> Table:
    """Return where everything of a set stands, as it is drawn from above."""
    drawn = layout(rig)
    names = ("name", "rings", "colour")
    return {
        "sheet": drawn["sheet"],
        "things": [{n: one[n] for n in names} for one in drawn["things"]]
        + [{"name": "camera", "rings": drawn["camera"]["rings"], "colour": ""}],
    }


def kept_facts(loaded: LoadedRig) -> Table:
    """Return what the rig file keeps of its last plan, what is owned, and the set's cautions."""
    plan = loaded.plan
    return {
        "plan": None if plan is None else _planned(plan, loaded.digest),
        "tolerances": [] if plan is None else [dict(vars(one)) for one in plan.tolerances],
        # what can be put into the set by hand; what holds it is no thing of its own there
        "owned": [_owned(thing) for thing in loaded.owned if thing.kind not in HOLDER_KINDS],
        "notes": loaded.notes,
        "cautions": list(cautions_for(loaded.rig)),
    }


def _planned(plan: PlanRecord, digest: str) -> Table:
    return {
        "score": plan.score,
        "yield_share": plan.yield_share,
        "good_score": plan.good_score,
        "is_changed": plan.rig_digest not in ("", digest),
        "critical": [list(pair) for pair in plan.critical],
    }


def _owned(thing: Any) -> Table:
    return {
        "name": thing.name if thing.name else thing.kind,
        "kind": thing.kind,
        "width_mm": thing.width_mm,
        "height_mm": thing.height_mm,
    }


def _sheet(rig: Rig) -> Table:
    sheet = rig.sheet
    return {
        "width_mm": sheet.width_mm,
        "height_mm": sheet.height_mm,
        "foil": sheet.foil.kind,
        "has_artwork": sheet.artwork.size > 1,
        "paper": list(sheet.paper.reflectance),
    }


def _camera(camera: Camera, rings: Sequence[Sequence[Sequence[float]]]) -> Table:
    place = camera.placement
    right, up, forward = camera.axes()
    tan_x, tan_y = camera.half_angles_tan()
    reach = math.dist(place.position_mm, place.aim_mm)
    corners = [
        np.asarray(place.position_mm) + reach * (forward + x * tan_x * right + y * tan_y * up)
        for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]
    exposure = camera.exposure
    return {
        "name": "camera",
        "kind": "camera",
        "position_mm": list(place.position_mm),
        "aim_mm": list(place.aim_mm),
        "roll_deg": math.degrees(place.roll_rad),
        "rings": rings if rings else [[list(place.position_mm)]],
        "view": [_points(corner[None])[0] for corner in corners],
        "dimensions": list(dimensions_of(camera)),
        "locked": camera.locked,
        "held_by": None if camera.held is None else camera.held.by,
        "focal_length_mm": camera.focal_length_mm,
        "paper_level": exposure.paper_level,
        "is_set": exposure.f_number is not None,
    }


def _table(rig: Rig) -> Table | None:
    table = rig.room.table
    if table is None:
        return None
    return {"width_mm": table.width_mm, "depth_mm": table.depth_mm, "drop_mm": table.drop_mm}


def _thing(thing: Thing, role: str, rings: list[list[list[float]]], colour: Sequence[int]) -> Table:
    told: Table = {
        "name": thing.name,
        "kind": role if not isinstance(thing, Shell) else thing.shape,
        "colour": "#" + "".join(f"{value:02x}" for value in colour),
        "rings": rings,
        "dimensions": list(dimensions_of(thing)),
    }
    if isinstance(thing, Lamp | Card):
        place = thing.placement
        told |= {
            "position_mm": list(place.position_mm),
            "aim_mm": list(place.aim_mm),
            "roll_deg": math.degrees(place.roll_rad),
            "width_mm": thing.width_mm,
            "height_mm": thing.height_mm,
        }
    elif isinstance(thing, Shell):
        told |= {
            "position_mm": list(thing.centre_mm),
            "width_mm": thing.foot_width_mm,
            "height_mm": thing.height_mm,
            "hole_mm": thing.top_width_mm,
        }
    else:
        told |= {"position_mm": list(thing.position_mm)}
    if isinstance(thing, Lamp):
        told |= {
            "trim_stops": thing.trim_stops,
            "on": thing.on,
            "is_window": thing.is_window,
            "output": f"{thing.output.value:g} {thing.output.unit}",
            "shape": thing.shape,
        }
    if isinstance(thing, Card):
        told |= {
            "finish": "diffuser" if thing.is_diffuser else thing.front.finish,
            "hole_mm": 0.0 if thing.hole is None else thing.hole.diameter_mm,
        }
    held = thing.held if isinstance(thing, Lamp | Card) else None
    locked = not isinstance(thing, Prop) and thing.locked
    return told | {"locked": locked, "held_by": None if held is None else held.by}


def _rings(surfaces: Sequence[Surface]) -> Mapping[str, list[list[list[float]]]]:
    """Return closed outlines of everything by name, in mm."""
    found: dict[str, list[list[list[float]]]] = {}
    for surface in surfaces:
        found.setdefault(surface.name, []).extend(_points(ring) for ring in _outlines(surface))
    return found


def _outlines(surface: Surface) -> list[Doubles]:
    shape = surface.shape
    if isinstance(shape, Flat):
        return [_flat_ring(shape), *(_hole_ring(shape, i) for i in range(len(shape.openings)))]
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    circle = np.stack([np.cos(turn), np.sin(turn), np.zeros(ROUND)], axis=1)
    if isinstance(shape, Ball):
        upright = circle[:, [0, 2, 1]]
        centre = np.asarray(shape.centre)
        return [centre + shape.radius * circle, centre + shape.radius * upright]
    if isinstance(shape, Cone):
        foot = np.asarray(shape.centre)
        top = foot + np.array([0, 0, shape.height])
        rings = [foot + shape.foot_radius * circle, top + shape.top_radius * circle]
        return [*rings, *(np.stack([rings[0][i], rings[1][i]]) for i in range(0, ROUND, 7))]
    assert isinstance(shape, Mesh)
    low, high = shape.vertices.min(axis=0), shape.vertices.max(axis=0)
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    return [
        np.column_stack([low[:2] + corners * (high - low)[:2], np.full(4, z)])
        for z in (low[2], high[2])
    ]


def _flat_ring(shape: Flat) -> Doubles:
    if not shape.is_round:
        return np.asarray(shape.outline())
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    return _on(shape, shape.half_width * np.cos(turn), shape.half_height * np.sin(turn))


def _hole_ring(shape: Flat, index: int) -> Doubles:
    turn = 2 * np.pi * np.arange(ROUND) / ROUND
    hole = shape.openings[index]
    return _on(shape, hole.x + hole.radius * np.cos(turn), hole.y + hole.radius * np.sin(turn))


def _on(shape: Flat, right: Doubles, up: Doubles) -> Doubles:
    axes = np.outer(right, shape.right) + np.outer(up, shape.up)
    return np.asarray(np.asarray(shape.centre) + axes)


def _points(ring: Doubles) -> list[list[float]]:
    return [[round(float(v), 1) for v in point] for point in np.asarray(ring)]


def _rays(rig: Rig, surfaces: Sequence[Surface]) -> list[Table]:
    """Return rays from the lens by corners and middle of the sheet to what they meet."""
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    spots = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [0, 0]]) * half
    rays = mirrored_rays(rig.camera, rig.sheet, spots)
    others = [surface for surface in surfaces if surface.role != "sheet"]
    ways = np.stack([_way(s, rays.origins_mm, rays.directions) for s in others])
    nearest = np.argmin(ways, axis=0)
    lens = list(rig.camera.placement.position_mm)
    told = []
    for k, at in enumerate(nearest):
        way = float(ways[at, k])
        meets = math.isfinite(way)
        end = rays.origins_mm[k] + (way if meets else FREE_RAY_MM) * rays.directions[k]
        told.append(
            {
                "sees": others[at].name if meets else None,
                "points": [lens, *_points(np.stack([rays.origins_mm[k], end]))],
            }
        )
    return told


def _way(surface: Surface, points: Doubles, directions: Doubles) -> Doubles:
    found = surface.shape.trace(points[:, None], directions[:, None]).distance
    return np.asarray(found, float)[:, 0]


def _families(rig: Rig) -> list[Table]:
    """Return, on each card, the outline that the foil sees, with margins and without."""
    told = []
    for card in rig.cards:
        found = family_on_plane(rig.camera, rig.sheet, card.placement)
        if found is None:
            continue
        right, up, _ = found.plane.axes()
        centre = np.asarray(found.plane.position_mm, float)

        def outline(
            places: Doubles, centre: Doubles = centre, right: Doubles = right, up: Doubles = up
        ) -> list[list[float]]:
            across: Doubles = np.outer(places[:, 0], right)
            along: Doubles = np.outer(places[:, 1], up)
            return _points(centre + across + along)

        half = np.array([card.width_mm, card.height_mm]) / 2
        told.append(
            {
                "card": card.name,
                "seen": outline(np.asarray(found.seen_mm)),
                "with_margins": outline(np.asarray(found.outline_mm)),
                "covers": bool((np.abs(found.seen_mm) <= half).all()),
                "covers_with_margins": bool((np.abs(found.outline_mm) <= half).all()),
                "smallest_mm": [round(found.width_mm), round(found.height_mm)],
            }
        )
    return told
