"""From the file's form to the scene's rig: degrees to radians, defaults that depend, files read."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.optics.defaults import DEFAULTS
from lightplan.rigfiles.build_sheet import build_sheet
from lightplan.rigfiles.explain import plain
from lightplan.rigfiles.ies import output_of, read_ies
from lightplan.rigfiles.meshes import read_mesh
from lightplan.rigfiles.probes import read_probe
from lightplan.rigfiles.values import Faults, channels, inside, pair
from lightplan.scene import (
    AngularProfile,
    Body,
    Camera,
    Card,
    Exposure,
    Freedom,
    Held,
    Hole,
    Lamp,
    Look,
    Output,
    Placement,
    Probe,
    Prop,
    Reach,
    Rig,
    Room,
    Shell,
    Side,
    Table,
    Walls,
    checks,
    usually_held,
)
from lightplan.scene.camera import focal_length_of
from lightplan.scene.lamps import LED_LUMENS_PER_WATT

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.rigfiles import forms, schema
    from lightplan.rigfiles.sheet_forms import LookForm
    from lightplan.scene.cards import CardFinish

FINISH_REFLECTANCE: dict[CardFinish, float] = {
    "white": DEFAULTS["white card"].value,
    "grey": DEFAULTS["grey card"].value,
    "black": DEFAULTS["black card"].value,
    "silver": DEFAULTS["silver board"].value,
}
LAMP_HEIGHT_MM = 600.0
LAMP_OUTPUT = Output(value=2000.0, unit="lm")
FOCAL_LENGTH_MM = 50.0


def build_rig(form: schema.RigForm, folder: Path) -> Rig:
    """Return the rig of a file's form.

    Parameters
    ----------
    form : RigForm
    folder : Path
        Where the rig file lies; its pictures are looked for from there.

    Raises
    ------
    BadInput
        All values that cannot be, and pictures that cannot be read; the fields are named.
    """
    faults = Faults()
    sheet = faults.of(build_sheet, form.sheet, folder, table=table_under(form.room))
    camera = faults.of(_camera, form.camera)
    look = faults.of(_look, form.look)
    lamps = [faults.of(_lamp, lamp, folder) for lamp in form.lamps]
    cards = [faults.of(_card, card) for card in form.cards]
    shells = [faults.of(_shell, shell) for shell in form.shells]
    props = [faults.of(_prop, prop, folder) for prop in form.props]
    room = faults.of(_room, form.room, folder)
    freedoms = [faults.of(_freedom, freedom) for freedom in form.freedoms]
    faults.check()
    assert sheet is not None
    assert camera is not None
    assert look is not None
    assert room is not None
    return Rig(
        title=form.title,
        sheet=sheet,
        camera=camera,
        look=look,
        lamps=tuple(lamp for lamp in lamps if lamp is not None),
        cards=tuple(card for card in cards if card is not None),
        shells=tuple(shell for shell in shells if shell is not None),
        props=tuple(prop for prop in props if prop is not None),
        room=room,
        freedoms=tuple(freedom for freedom in freedoms if freedom is not None),
    )


def _look(form: LookForm) -> Look:
    return Look(
        kind=form.kind,
        direction_rad=math.radians(form.direction_deg),
        strength_stops=form.strength_stops,
    )


def _freedom(form: schema.FreedomForm) -> Freedom:
    return Freedom(**dict(form))


def asset_names(form: schema.RigForm) -> list[str]:
    """Return the files that a rig file names, as written there."""
    probe = form.room.probe
    names = [form.sheet.artwork, *(lamp.ies for lamp in form.lamps)]
    names += [*(prop.file for prop in form.props), probe.file if probe else None]
    return [name for name in dict.fromkeys(names) if name is not None]


def _placement(part: forms.CameraForm | forms.LampForm | forms.CardForm) -> Placement:
    return Placement(channels(part.position_mm), channels(part.aim_mm), math.radians(part.roll_deg))


def _camera(form: forms.CameraForm) -> Camera:
    with inside("camera"):
        placement = _placement(form)
        held = build_held(form)
    body = form.body
    polariser = form.polariser_deg
    columns, rows = form.pixels
    return Camera(
        placement=placement,
        focal_length_mm=_focal_length(form),
        sensor_width_mm=form.sensor_width_mm,
        sensor_height_mm=form.sensor_height_mm,
        pixels=(columns, rows),
        body=Body(**{**dict(body), "lens_offset_mm": pair(body.lens_offset_mm)})
        if form.has_body
        else None,
        exposure=Exposure(**dict(form.exposure)),
        polariser_rad=None if polariser is None else math.radians(polariser),
        white_balance_k=form.white_balance_k,
        states_equivalent=form.equivalent_focal_length_mm is not None,
        tone_curve=form.tone_curve,
        held=held,
        locked=form.locked,
    )


def _focal_length(form: forms.CameraForm) -> float:
    own, equivalent = form.focal_length_mm, form.equivalent_focal_length_mm
    if equivalent is None:
        return FOCAL_LENGTH_MM if own is None else own
    if own is not None:
        raise RigError(
            field="camera.equivalent_focal_length_mm",
            wanted="left out beside focal_length_mm",
            got=equivalent,
            cure="keep the one that its maker states",
        )
    checks.positive(equivalent, "camera.equivalent_focal_length_mm", "26 is usual for phones")
    checks.positive(form.sensor_width_mm, "camera.sensor_width_mm")
    checks.positive(form.sensor_height_mm, "camera.sensor_height_mm")
    return focal_length_of(
        equivalent, sensor_width_mm=form.sensor_width_mm, sensor_height_mm=form.sensor_height_mm
    )


def build_held(form: forms.CameraForm | forms.LampForm | forms.CardForm) -> Held | None:
    """Return what holds a thing, with its usual heights where the file names none."""
    by, lowest, highest = form.held, form.lowest_mm, form.highest_mm
    if by is None:
        if lowest is not None or highest is not None:
            raise RigError(
                field="held",
                wanted="given where lowest_mm or highest_mm is",
                got="nothing",
                cure='say what holds it, as in held = "stand"',
            )
        return None
    usual = usually_held(by)
    return Held(
        by=by,
        lowest_mm=usual.lowest_mm if lowest is None else lowest,
        highest_mm=usual.highest_mm if highest is None else highest,
    )


def _lamp(form: forms.LampForm, folder: Path) -> Lamp:
    height = LAMP_HEIGHT_MM if form.shape == "rectangle" else form.width_mm
    with inside(f"lamps.{plain(form.name, 40)}"):
        profile = None if form.ies is None else _profile(folder, form.ies)
        output = LAMP_OUTPUT if profile is None else output_of(profile)
        return Lamp(
            name=form.name,
            placement=_placement(form),
            shape=form.shape,
            width_mm=form.width_mm,
            height_mm=height if form.height_mm is None else form.height_mm,
            output=build_output(form, usual=output),
            trim_stops=form.trim_stops,
            on=form.on,
            colour_k=form.colour_k,
            is_window=form.is_window,
            profile=profile,
            depth_mm=form.depth_mm,
            held=build_held(form),
            locked=form.locked,
        )


def _profile(folder: Path, name: str) -> AngularProfile:
    return replace(read_ies(folder / name), file=name)


def build_output(form: forms.LampForm | schema.ThingForm, *, usual: Output) -> Output:
    """Return a lamp's output as its file gives it, or `usual`."""
    given, watts, figures = form.output, form.watts, form.lumens_per_watt
    if watts is None:
        if figures is not None:
            raise RigError(
                field="lumens_per_watt",
                wanted="given only beside watts",
                got=figures,
                cure="add watts, or leave it out",
            )
        return usual if given is None else Output(value=given.value, unit=given.unit)
    if given is not None:
        raise RigError(
            field="watts",
            wanted="left out beside output",
            got=watts,
            cure="keep output: it says more",
        )
    checks.positive(watts, "watts", "read it off the lamp's box")
    efficacy = LED_LUMENS_PER_WATT if figures is None else pair(figures)
    return Output(value=watts, unit="W", lumens_per_watt=efficacy)


def _card(form: forms.CardForm) -> Card:
    with inside(f"cards.{plain(form.name, 40)}"):
        passes = max(form.transmittance)
        return Card(
            name=form.name,
            placement=_placement(form),
            width_mm=form.width_mm,
            height_mm=form.height_mm,
            front=_side(form.finish, form.reflectance, form.roughness, passes),
            back=_back(form, passes),
            transmittance=channels(form.transmittance),
            hole=None
            if form.hole_mm is None
            else Hole(diameter_mm=form.hole_mm, offset_mm=pair(form.hole_offset_mm)),
            held=build_held(form),
            locked=form.locked,
        )


def _back(form: forms.CardForm, passes: float) -> Side:
    finish = form.finish if form.back_finish is None else form.back_finish
    same = finish == form.finish
    given = form.back_reflectance
    reflectance = form.reflectance if given is None and same else given
    roughness = form.roughness if form.back_roughness is None else form.back_roughness
    with inside("back"):
        return _side(finish, reflectance, roughness, passes)


def _side(
    finish: CardFinish, reflectance: list[float] | None, roughness: float, passes: float
) -> Side:
    usual = FINISH_REFLECTANCE[finish]
    if passes > 0.0:  # a diffuser keeps a tenth, and gives back what it neither keeps nor passes
        usual = min(usual, max(0.9 - passes, 0.0))
    return Side(
        finish=finish,
        reflectance=(usual, usual, usual) if reflectance is None else channels(reflectance),
        roughness=roughness,
    )


def _shell(form: forms.ShellForm) -> Shell:
    with inside(f"shells.{plain(form.name, 40)}"):
        return Shell(
            name=form.name,
            shape=form.shape,
            centre_mm=channels(form.centre_mm),
            foot_width_mm=form.foot_width_mm,
            foot_depth_mm=form.foot_depth_mm,
            top_width_mm=form.top_width_mm,
            height_mm=form.height_mm,
            reflectance=channels(form.reflectance),
            transmittance=channels(form.transmittance),
            locked=form.locked,
        )


def _prop(form: forms.PropForm, folder: Path) -> Prop:
    with inside(f"props.{plain(form.name, 40)}"):
        if (form.file is not None) != (form.shape == "mesh"):
            raise RigError(
                field="file",
                wanted="given for a mesh, and for no other shape",
                got=plain(form.file) if form.file is not None else "none",
                cure='write shape = "mesh" and file = "stand.stl", or leave both out',
            )
        vertices, faces = (None, None) if form.file is None else read_mesh(folder / form.file)
        return Prop(
            name=form.name,
            shape=form.shape,
            position_mm=channels(form.position_mm),
            width_mm=form.width_mm,
            depth_mm=form.width_mm if form.depth_mm is None else form.depth_mm,
            height_mm=form.height_mm,
            turn_rad=math.radians(form.turn_deg),
            reflectance=channels(form.reflectance),
            vertices=vertices,
            faces=faces,
            unit_mm=form.unit_mm,
            file=form.file,
        )


def table_under(form: forms.RoomForm) -> tuple[float, float, float]:
    """Return the reflectance of the table top, black where there is none."""
    return channels(form.table.reflectance) if form.has_table else (0.0, 0.0, 0.0)


def _room(form: forms.RoomForm, folder: Path) -> Room:
    table = {**dict(form.table), "reflectance": channels(form.table.reflectance)}
    return Room(
        ambient_cd_m2=channels(form.ambient_cd_m2),
        probe=None if form.probe is None else _probe(form.probe, folder),
        table=Table(**table) if form.has_table else None,
        walls=None if form.walls is None else _walls(form.walls),
        reach=Reach(**dict(form.reach)),
    )


def _probe(form: forms.ProbeForm, folder: Path) -> Probe:
    with inside("room.probe"):
        pixels = read_probe(folder / form.file)
    return Probe(
        pixels=pixels, scale=form.scale_cd_m2, turn_rad=math.radians(form.turn_deg), file=form.file
    )


def _walls(form: forms.WallsForm) -> Walls:
    return Walls(
        width_mm=form.width_mm,
        depth_mm=form.depth_mm,
        ceiling_mm=form.ceiling_mm,
        floor_mm=form.floor_mm,
        walls=channels(form.wall_reflectance),
        ceiling=channels(form.ceiling_reflectance),
        floor=channels(form.floor_reflectance),
    )
