"""From a rig to the path tracer's scene: the inverse of the adapter in tests/light/conftest.py.

The fields of a scene are told in ../pathtraced/README.md. What such a scene cannot say is
refused: tents, polarisers, photometric files, rooms with walls, light probes, waves.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.geometry.mesh import Mesh
from lightplan.light.coat import outside_reflectance
from lightplan.light.emission import lamp_luminances
from lightplan.optics.materials import foil_curve

if TYPE_CHECKING:
    from lightplan.scene import Camera, Card, Lamp, Placement, Prop, Rig, Shell, Side

Scene = dict[str, Any]
LONG_SIDE = 24
MARGIN = 1.03
ORDERS = {"1": 0.42, "-1": 0.42, "2": 0.08, "-2": 0.08}  # as docs/light-model.md says
SIDES = 128  # of the prism that stands for a round post


def framed(rig: Rig) -> tuple[Rig, tuple[int, int]]:
    """Return the rig with its picture cut to the sheet, and the picture's (rows, columns).

    The lens and the way it looks stay: only the field of view changes, so no light does.
    """
    right, up, forward = rig.camera.axes()
    corners = np.array([[x, y, 0.0] for x in (-1, 1) for y in (-1, 1)])
    corners *= [rig.sheet.width_mm / 2, rig.sheet.height_mm / 2, 0]
    way = corners - rig.camera.placement.position_mm
    tan_x, tan_y = (MARGIN * np.abs(way @ a / (way @ forward)).max() for a in (right, up))
    pixel = 2 * max(tan_x, tan_y) / LONG_SIDE
    rows, cols = (math.ceil(2 * t / pixel) for t in (tan_y, tan_x))
    focal = rig.camera.focal_length_mm
    camera = replace(
        rig.camera, sensor_width_mm=cols * pixel * focal, sensor_height_mm=rows * pixel * focal
    )
    return replace(rig, camera=camera), (rows, cols)


def scene_of(rig: Rig, size: tuple[int, int]) -> Scene:
    """Return the scene of a rig, its picture of `size` (rows, columns)."""
    _check(rig)
    lights = lamp_luminances(rig)
    panels = [_panel(c) for c in rig.cards if c.is_diffuser]
    return {
        "name": rig.title,
        "camera": _camera(rig.camera, size),
        "sheet": _sheet(rig),
        "lights": [_lamp(lamp, light) for lamp, light in zip(rig.lamps, lights, strict=True)],
        "cards": [_card(c) for c in rig.cards if not c.is_diffuser] + _body(rig.camera),
        "table": _table(rig),
        "diffuser_panels": panels,
        "diffuser_shells": [_shell(shell) for shell in rig.shells],
        "meshes": [_prop(prop) for prop in rig.props],
        "ambient_radiance": list(rig.room.ambient_cd_m2),
        "probe": None,
        "materials": {"paper": _paper(rig), "foil": _foil(rig)},
    }


def _check(rig: Rig) -> None:
    wrong = {
        "brushing aslant": rig.sheet.foil.brush_rad != 0,
        "a bow aslant": rig.sheet.flatness.bow_rad != 0,
        "waves": rig.sheet.flatness.wave_mm != 0,
        "a tent": any(shell.shape == "tent" for shell in rig.shells),
        "a polariser": rig.camera.polariser_rad is not None,
        "walls or a probe": rig.room.walls is not None or rig.room.probe is not None,
        "a photometric file": any(lamp.profile is not None for lamp in rig.lamps),
        "a card with two faces": any(card.front != card.back for card in rig.cards),
        "a hole off the middle": any(
            card.hole is not None and card.hole.offset_mm != (0.0, 0.0) for card in rig.cards
        ),
        "a silvered diffuser": any(c.is_diffuser and c.front.finish == "silver" for c in rig.cards),
    }
    found = [name for name, is_so in wrong.items() if is_so]
    if found:
        raise ValueError(f"the path tracer's scene cannot say: {', '.join(found)}")


def _metres(values: Any) -> Any:
    return (np.asarray(values, float) / 1000).tolist()


def _pose(placement: Placement) -> Scene:
    _, up, normal = placement.axes()
    return {"center": _metres(placement.position_mm), "normal": normal.tolist(), "up": up.tolist()}


def _camera(camera: Camera, size: tuple[int, int]) -> Scene:
    _, up, forward = camera.axes()
    position = np.asarray(camera.placement.position_mm)
    return {
        "position": _metres(position),
        "look_at": _metres(position + 300 * forward),
        "up": up.tolist(),
        "vfov_deg": 2 * math.degrees(math.atan(camera.half_angles_tan()[1])),
        "height": size[0],
        "width": size[1],
    }


def _body(camera: Camera) -> list[Scene]:
    body = camera.body
    if body is None:
        return []
    right, up, forward = camera.axes()
    middle = np.asarray(camera.placement.position_mm) - body.setback_mm * forward
    middle = middle - body.lens_offset_mm[0] * right - body.lens_offset_mm[1] * up
    return [
        {
            "name": "camera_body",
            "center": _metres(middle),
            "normal": forward.tolist(),
            "up": up.tolist(),
            "width": body.width_mm / 1000,
            "height": body.height_mm / 1000,
            "reflectance": [body.reflectance] * 3,
        }
    ]


def _sheet(rig: Rig) -> Scene:
    bow = rig.sheet.flatness.bow_mm
    made: Scene = {
        "shape": "bowed" if bow else "flat",
        "center": [0.0, 0.0, 0.0],
        "normal": [0.0, 0.0, 1.0],
        "up": [0.0, 1.0, 0.0],
        "width": rig.sheet.width_mm / 1000,
        "height": rig.sheet.height_mm / 1000,
    }
    return made | ({"bow": bow / 1000} if bow else {})


def _lamp(lamp: Lamp, light: Any) -> Scene:
    made = _pose(lamp.placement) | {"name": lamp.name, "radiance": light.tolist()}
    made |= {"body_reflectance": 0.0}
    if lamp.shape == "rectangle":
        return made | {"shape": "rect", **_size(lamp)}
    radius = lamp.width_mm / 2000
    return made | {"shape": "disk" if lamp.shape == "disk" else "sphere", "radius": radius}


def _size(thing: Lamp | Card) -> Scene:
    return {"width": thing.width_mm / 1000, "height": thing.height_mm / 1000}


def _card(card: Card) -> Scene:
    made = _pose(card.placement) | {"name": card.name, **_size(card)}
    if card.hole is not None:
        made["hole_radius"] = card.hole.diameter_mm / 2000
    return made | _board(card.front)


def _board(side: Side) -> Scene:
    if side.finish == "silver":
        return {"specular": {"reflectance": list(side.reflectance), "alpha": side.roughness}}
    return {"reflectance": list(side.reflectance)}


def _panel(card: Card) -> Scene:
    shares = {"rho": list(card.front.reflectance), "tau": list(card.transmittance)}
    return _pose(card.placement) | {"name": card.name, **_size(card), **shares}


def _shell(shell: Shell) -> Scene:
    return {
        "name": shell.name,
        "shape": "frustum",
        "centre": _metres(shell.centre_mm),
        "r_bottom": shell.foot_width_mm / 2000,
        "r_top": shell.top_width_mm / 2000,
        "height": shell.height_mm / 1000,
        "rho": list(shell.reflectance),
        "tau": list(shell.transmittance),
    }


def _table(rig: Rig) -> Scene | None:
    table = rig.room.table
    if table is None:
        return None
    return {
        "name": "table",
        "center": [0.0, 0.0, -table.drop_mm / 1000],
        "normal": [0.0, 0.0, 1.0],
        "up": [0.0, 1.0, 0.0],
        "width": table.width_mm / 1000,
        "height": table.depth_mm / 1000,
        "reflectance": list(table.reflectance),
    }


def _prop(prop: Prop) -> Scene:
    mesh = prop.body if prop.body is not None else _prism(prop)
    return {
        "name": prop.name,
        "vertices": _metres(mesh.vertices),
        "faces": np.asarray(mesh.faces).tolist(),
        "reflectance": list(prop.reflectance),
    }


def _prism(prop: Prop) -> Mesh:
    """Return a box, or a post as a prism whose cross-section has the circle's area."""
    if prop.shape == "box":
        corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        foot = corners * [prop.width_mm / 2, prop.depth_mm / 2]
    else:
        turn = 2 * np.pi * np.arange(SIDES) / SIDES
        equal_area = math.sqrt(2 * np.pi / SIDES / math.sin(2 * np.pi / SIDES))
        foot = equal_area * prop.width_mm / 2 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    cosine, sine = math.cos(prop.turn_rad), math.sin(prop.turn_rad)
    foot = foot @ np.array([[cosine, sine], [-sine, cosine]]) + prop.position_mm[:2]
    low, n = prop.position_mm[2], len(foot)
    vertices = np.vstack(
        [np.column_stack([foot, np.full(n, z)]) for z in (low, low + prop.height_mm)]
    )
    i = np.arange(n)
    after = (i + 1) % n
    sides = [np.stack([i, after, n + after], 1), np.stack([i, n + after, n + i], 1)]
    fan = np.stack([np.zeros(n - 2, int), i[1:-1], i[2:]], 1)
    return Mesh(vertices, np.vstack([*sides, fan[:, ::-1], n + fan]))


def _paper(rig: Rig) -> Scene:
    paper = rig.sheet.paper
    if paper.coat_index is not None:
        inside = 1 - (1 - outside_reflectance(paper)) / paper.coat_index**2
        return {
            "model": "coated",
            "reflectance": list(paper.reflectance),
            "coat_index": paper.coat_index,
            "alpha": paper.coat_roughness,
            "internal_reflectance": inside,
        }
    return {"model": "lambert", "reflectance": list(paper.reflectance)}


def reflectance_of(rig: Rig) -> list[float]:
    """Return a dyed foil's reflectance per channel, at the angle of its middle's mirror ray."""
    place = np.asarray(rig.camera.placement.position_mm)
    cosine = float(place[2] / np.linalg.norm(place))
    found = foil_curve(rig.sheet.foil.kind).evaluate(cosine)
    return [min(float(v), 1.0) for v in np.ravel(found)]


def _foil(rig: Rig) -> Scene:
    foil = rig.sheet.foil
    alpha_x, alpha_y = foil.roughness
    made = {"model": "ggx_conductor", "alpha_x": alpha_x, "alpha_y": alpha_y}
    if foil.conductor is None:  # dyed: the same reflectance at every angle
        made["reflectance"] = reflectance_of(rig)
    else:
        made |= {"eta": list(foil.conductor.eta), "k": list(foil.conductor.k)}
    if foil.grating is None:
        return made
    grating = {
        "lines_per_mm": foil.grating.lines_per_mm,
        "direction_deg": math.degrees(foil.grating.direction_rad),
        "shares": {m: foil.grating.strength * share for m, share in ORDERS.items()},
    }
    return made | {"grating": grating}
