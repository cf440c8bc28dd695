"""From a rig back to the tables of a rig file, so that reading them gives the same rig."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, TypeAlias

from lightplan.rigfiles.build import FINISH_REFLECTANCE
from lightplan.rigfiles.build_sheet import COAT_ROUGHNESS, FILM_ROUGHNESS
from lightplan.rigfiles.schema import FORMAT
from lightplan.scene.camera import focal_length_of
from lightplan.scene.lamps import LED_LUMENS_PER_WATT

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.rigfiles.plan_record import PlanRecord
    from lightplan.scene import (
        Camera,
        Card,
        Foil,
        Held,
        Lamp,
        Output,
        Paper,
        Placement,
        Prop,
        Rig,
        Room,
        Sheet,
        Shell,
        Side,
    )

Table: TypeAlias = dict[str, Any]


def document_of(rig: Rig) -> Table:
    """Return every field of a rig as in its file; None for fields to leave out.

    Pictures are named as the rig names them.
    """
    look = rig.look
    return {
        "format": FORMAT,
        "title": rig.title,
        "look": {
            "kind": look.kind,
            "direction_deg": degrees(look.direction_rad),
            "strength_stops": look.strength_stops,
        },
        "sheet": _sheet(rig.sheet),
        "camera": _camera(rig),
        "lamps": [_lamp(lamp) for lamp in rig.lamps],
        "cards": [_card(card) for card in rig.cards],
        "shells": [_shell(shell) for shell in rig.shells],
        "props": [_prop(prop) for prop in rig.props],
        "room": _room(rig.room),
        "freedoms": [dict(vars(freedom)) for freedom in rig.freedoms],
    }


def plan_table(plan: PlanRecord) -> Table:
    """Return a plan's results as in the file."""
    return {
        "score": plan.score,
        "yield_share": plan.yield_share,
        "good_score": plan.good_score,
        "made_with": plan.made_with,
        "stopped_because": plan.stopped_because,
        "rig_digest": plan.rig_digest,
        "critical": [list(pair) for pair in plan.critical],
        "measures": dict(plan.measures),
        "tolerances": [dict(vars(t)) for t in plan.tolerances],
    }


def degrees(angle_rad: float) -> float:
    """Return the shortest number of degrees that reads back as the same angle.

    >>> degrees(math.radians(33.3))
    33.3
    """
    return _reading_back(math.degrees(angle_rad), angle_rad, math.radians)


def _reading_back(exact: float, wanted: float, read: Callable[[float], float]) -> float:
    """Return `exact` in as few digits as `read` turns into `wanted`."""
    for digits in range(16):
        shorter = round(exact, digits)
        if read(shorter) == wanted:
            return shorter
    return exact


def _even(values: Sequence[float]) -> float | list[float]:
    return values[0] if all(v == values[0] for v in values) else list(values)


def _placement(placement: Placement) -> Table:
    return {
        "position_mm": list(placement.position_mm),
        "aim_mm": list(placement.aim_mm),
        "roll_deg": degrees(placement.roll_rad),
    }


def _sheet(sheet: Sheet) -> Table:
    flat = sheet.flatness
    return {
        "width_mm": sheet.width_mm,
        "height_mm": sheet.height_mm,
        "artwork": sheet.artwork_file,
        "bow_mm": flat.bow_mm,
        "bow_deg": degrees(flat.bow_rad),
        "wave_mm": flat.wave_mm,
        "wave_length_mm": flat.wave_length_mm,
        "foil": _foil(sheet.foil),
        "paper": _paper(sheet.paper),
    }


def _paper(paper: Paper) -> Table:
    wavy, film = paper.waviness, paper.film
    usual = COAT_ROUGHNESS if film is None else FILM_ROUGHNESS
    rough = paper.coat_roughness
    return {
        "reflectance": _even(paper.reflectance) if film is None else None,
        "coat_index": paper.coat_index if film is None else None,
        "coat_roughness": None if rough == usual else rough,
        "waviness": None
        if wavy is None
        else {
            "slope_deg": degrees(wavy.slope_rad),
            "wavelength_mm": wavy.wavelength_mm,
            "seed": wavy.seed,
        },
        "film": None
        if film is None
        else {
            "under_reflectance": None if film.under_is_table else _even(film.under),
            "transmittance": film.transmittance,
            "index": film.index,
        },
    }


def _foil(foil: Foil) -> Table:
    metal, grating = foil.conductor, foil.grating
    return {
        "kind": foil.kind,
        "roughness": _even(foil.roughness),
        "brush_deg": degrees(foil.brush_rad),
        "eta": None if metal is None else _even(metal.eta),
        "k": None if metal is None else _even(metal.k),
        "grating": None
        if grating is None
        else {
            "lines_per_mm": grating.lines_per_mm,
            "direction_deg": degrees(grating.direction_rad),
            "strength": grating.strength,
        },
        "relief": None if foil.relief is None else dict(vars(foil.relief)),
    }


def _camera(rig: Rig) -> Table:
    camera = rig.camera
    polariser = camera.polariser_rad
    table: Table = {
        **_placement(camera.placement),
        **_lens(camera),
        "sensor_width_mm": camera.sensor_width_mm,
        "sensor_height_mm": camera.sensor_height_mm,
        "pixels": list(camera.pixels),
        "polariser_deg": None if polariser is None else degrees(polariser),
        "white_balance_k": camera.white_balance_k,
        "tone_curve": camera.tone_curve,
        **_held(camera.held),
        "locked": camera.locked,
        "has_body": camera.body is not None,
        "exposure": dict(vars(camera.exposure)),
    }
    if camera.body is not None:
        offset = list(camera.body.lens_offset_mm)
        table["body"] = {**vars(camera.body), "lens_offset_mm": offset}
    return table


def _lens(camera: Camera) -> Table:
    if not camera.states_equivalent:
        return {"focal_length_mm": camera.focal_length_mm, "equivalent_focal_length_mm": None}
    shortest = _reading_back(
        camera.equivalent_focal_length_mm,
        camera.focal_length_mm,
        lambda equivalent: focal_length_of(
            equivalent,
            sensor_width_mm=camera.sensor_width_mm,
            sensor_height_mm=camera.sensor_height_mm,
        ),
    )
    return {"focal_length_mm": None, "equivalent_focal_length_mm": shortest}


def _held(held: Held | None) -> Table:
    if held is None:
        return {"held": None, "lowest_mm": None, "highest_mm": None}
    return {"held": held.by, "lowest_mm": held.lowest_mm, "highest_mm": held.highest_mm}


def output_fields(output: Output) -> Table:
    """Return an output as the fields of a lamp, owned or in the rig."""
    if output.unit != "W":
        shown = {"value": output.value, "unit": output.unit}
        return {"output": shown, "watts": None, "lumens_per_watt": None}
    usual = output.lumens_per_watt == LED_LUMENS_PER_WATT
    figures = None if usual else list(output.lumens_per_watt)
    return {"output": None, "watts": output.value, "lumens_per_watt": figures}


def _lamp(lamp: Lamp) -> Table:
    return {
        "name": lamp.name,
        **_placement(lamp.placement),
        "shape": lamp.shape,
        "width_mm": lamp.width_mm,
        "height_mm": lamp.height_mm,
        **output_fields(lamp.output),
        "trim_stops": lamp.trim_stops,
        "on": lamp.on,
        "colour_k": lamp.colour_k,
        "is_window": lamp.is_window,
        "ies": None if lamp.profile is None else lamp.profile.file,
        "depth_mm": lamp.depth_mm,
        **_held(lamp.held),
        "locked": lamp.locked,
    }


def _card(card: Card) -> Table:
    front, back, hole = card.front, card.back, card.hole
    same = front == back
    return {
        "name": card.name,
        **_placement(card.placement),
        "width_mm": card.width_mm,
        "height_mm": card.height_mm,
        "finish": front.finish,
        "reflectance": _reflectance(front, card),
        "roughness": front.roughness,
        "back_finish": None if same else back.finish,
        "back_reflectance": None if same else _even(back.reflectance),
        "back_roughness": None if same else back.roughness,
        "transmittance": _even(card.transmittance),
        "hole_mm": None if hole is None else hole.diameter_mm,
        "hole_offset_mm": [0.0, 0.0] if hole is None else list(hole.offset_mm),
        **_held(card.held),
        "locked": card.locked,
    }


def _reflectance(side: Side, card: Card) -> float | list[float] | None:
    usual = FINISH_REFLECTANCE[side.finish]
    is_usual = not card.is_diffuser and side.reflectance == (usual, usual, usual)
    return None if is_usual else _even(side.reflectance)


def _shell(shell: Shell) -> Table:
    return {
        **vars(shell),
        "centre_mm": list(shell.centre_mm),
        "reflectance": _even(shell.reflectance),
        "transmittance": _even(shell.transmittance),
    }


def _prop(prop: Prop) -> Table:
    return {
        "name": prop.name,
        "shape": prop.shape,
        "position_mm": list(prop.position_mm),
        "turn_deg": degrees(prop.turn_rad),
        "width_mm": prop.width_mm,
        "depth_mm": None if prop.depth_mm == prop.width_mm else prop.depth_mm,
        "height_mm": prop.height_mm,
        "reflectance": _even(prop.reflectance),
        "file": prop.file,
        "unit_mm": prop.unit_mm,
    }


def _room(room: Room) -> Table:
    probe, walls = room.probe, room.walls
    table: Table = {
        "ambient_cd_m2": _even(room.ambient_cd_m2),
        "has_table": room.table is not None,
        "probe": None
        if probe is None
        else {"file": probe.file, "scale_cd_m2": probe.scale, "turn_deg": degrees(probe.turn_rad)},
        "walls": None
        if walls is None
        else {
            "width_mm": walls.width_mm,
            "depth_mm": walls.depth_mm,
            "ceiling_mm": walls.ceiling_mm,
            "floor_mm": walls.floor_mm,
            "wall_reflectance": _even(walls.walls),
            "ceiling_reflectance": _even(walls.ceiling),
            "floor_reflectance": _even(walls.floor),
        },
        "reach": dict(vars(room.reach)),
    }
    if room.table is not None:
        table["table"] = {**vars(room.table), "reflectance": _even(room.table.reflectance)}
    return table
