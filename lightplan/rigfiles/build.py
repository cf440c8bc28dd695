"""From the file's form to the scene's rig: degrees to radians, defaults that depend, files read."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from lightplan.errors import BadInput, RigError
from lightplan.optics.defaults import DEFAULTS
from lightplan.rigfiles import forms, schema
from lightplan.rigfiles.artwork import read_artwork
from lightplan.rigfiles.explain import plain
from lightplan.rigfiles.ies import output_of, read_ies
from lightplan.rigfiles.meshes import read_mesh
from lightplan.rigfiles.probes import read_probe
from lightplan.scene import (
    AngularProfile,
    Body,
    Camera,
    Card,
    Conductor,
    Exposure,
    Flatness,
    Foil,
    Freedom,
    Grating,
    Hole,
    Lamp,
    Look,
    Output,
    Paper,
    Placement,
    Probe,
    Prop,
    Reach,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Table,
    Walls,
)
from lightplan.scene.cards import CardFinish

FINISH_REFLECTANCE: dict[CardFinish, float] = {
    "white": DEFAULTS["white card"].value,
    "grey": DEFAULTS["grey card"].value,
    "black": DEFAULTS["black card"].value,
    "silver": DEFAULTS["silver board"].value,
}
LAMP_HEIGHT_MM = 600.0
LAMP_OUTPUT = Output(value=2000.0, unit="lm")


@contextmanager
def inside(prefix: str) -> Iterator[None]:
    """Put `prefix` before the field of any bad input raised within."""
    try:
        yield
    except BadInput as error:
        raise error.within(prefix) from None


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
        A value that cannot be, or a picture that cannot be read; the field is named.
    """
    return Rig(
        title=form.title,
        sheet=_sheet(form.sheet, folder),
        camera=_camera(form.camera),
        look=Look(
            kind=form.look.kind,
            direction_rad=math.radians(form.look.direction_deg),
            strength_stops=form.look.strength_stops,
        ),
        lamps=tuple(_lamp(lamp, folder) for lamp in form.lamps),
        cards=tuple(_card(card) for card in form.cards),
        shells=tuple(_shell(shell) for shell in form.shells),
        props=tuple(_prop(prop, folder) for prop in form.props),
        room=_room(form.room, folder),
        freedoms=tuple(Freedom(**dict(freedom)) for freedom in form.freedoms),
    )


def asset_names(form: schema.RigForm) -> list[str]:
    """Return the files that a rig file names, as written there."""
    probe = form.room.probe
    names = [form.sheet.artwork, *(lamp.ies for lamp in form.lamps)]
    names += [*(prop.file for prop in form.props), probe.file if probe else None]
    return [name for name in dict.fromkeys(names) if name is not None]


def _channels(values: list[float]) -> tuple[float, float, float]:
    red, green, blue = values
    return (red, green, blue)


def _pair(values: list[float]) -> tuple[float, float]:
    first, second = values
    return (first, second)


def _placement(
    part: forms.CameraForm | forms.LampForm | forms.CardForm,
) -> Placement:
    return Placement(
        _channels(part.position_mm), _channels(part.aim_mm), math.radians(part.roll_deg)
    )


def _sheet(form: forms.SheetForm, folder: Path) -> Sheet:
    foil = form.foil
    if (foil.eta is None) != (foil.k is None):
        raise BadInput(
            field="sheet.foil", wanted="given both eta and k, or neither",
            got="eta" if foil.k is None else "k", cure="add the other one",
        )  # fmt: skip
    sheet = Sheet(
        width_mm=form.width_mm,
        height_mm=form.height_mm,
        foil=_foil(foil),
        paper=Paper(
            reflectance=_channels(form.paper.reflectance),
            coat_index=form.paper.coat_index,
            coat_roughness=form.paper.coat_roughness,
        ),
        flatness=Flatness(
            bow_mm=form.bow_mm,
            bow_rad=math.radians(form.bow_deg),
            wave_mm=form.wave_mm,
            wave_length_mm=form.wave_length_mm,
        ),
    )
    if form.artwork is None:
        return sheet
    with inside("sheet"):
        picture = read_artwork(
            folder / form.artwork, width_mm=form.width_mm, height_mm=form.height_mm
        )
    return replace(sheet, artwork=picture, artwork_file=form.artwork)


def _foil(form: forms.FoilForm) -> Foil:
    grating = form.grating
    return Foil(
        kind=form.kind,
        conductor=Conductor(eta=_channels(form.eta), k=_channels(form.k))
        if form.eta is not None and form.k is not None
        else None,
        roughness=_pair(form.roughness),
        brush_rad=math.radians(form.brush_deg),
        grating=None
        if grating is None
        else Grating(
            lines_per_mm=grating.lines_per_mm,
            direction_rad=math.radians(grating.direction_deg),
            strength=grating.strength,
        ),
    )


def _camera(form: forms.CameraForm) -> Camera:
    with inside("camera"):
        placement = _placement(form)
    body = form.body
    polariser = form.polariser_deg
    columns, rows = form.pixels
    return Camera(
        placement=placement,
        focal_length_mm=form.focal_length_mm,
        sensor_width_mm=form.sensor_width_mm,
        sensor_height_mm=form.sensor_height_mm,
        pixels=(columns, rows),
        body=Body(**{**dict(body), "lens_offset_mm": _pair(body.lens_offset_mm)})
        if form.has_body
        else None,
        exposure=Exposure(**dict(form.exposure)),
        polariser_rad=None if polariser is None else math.radians(polariser),
        white_balance_k=form.white_balance_k,
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
            output=output if form.output is None else build_output(form.output),
            trim_stops=form.trim_stops,
            on=form.on,
            colour_k=form.colour_k,
            is_window=form.is_window,
            profile=profile,
        )


def _profile(folder: Path, name: str) -> AngularProfile:
    return replace(read_ies(folder / name), file=name)


def build_output(form: forms.OutputForm) -> Output:
    """Return a lamp's output."""
    return Output(value=form.value, unit=form.unit)


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
            transmittance=_channels(form.transmittance),
            hole=None
            if form.hole_mm is None
            else Hole(diameter_mm=form.hole_mm, offset_mm=_pair(form.hole_offset_mm)),
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
        reflectance=(usual, usual, usual) if reflectance is None else _channels(reflectance),
        roughness=roughness,
    )


def _shell(form: forms.ShellForm) -> Shell:
    with inside(f"shells.{plain(form.name, 40)}"):
        return Shell(
            name=form.name,
            shape=form.shape,
            centre_mm=_channels(form.centre_mm),
            foot_width_mm=form.foot_width_mm,
            foot_depth_mm=form.foot_depth_mm,
            top_width_mm=form.top_width_mm,
            height_mm=form.height_mm,
            reflectance=_channels(form.reflectance),
            transmittance=_channels(form.transmittance),
        )


def _prop(form: forms.PropForm, folder: Path) -> Prop:
    with inside(f"props.{plain(form.name, 40)}"):
        if (form.file is not None) != (form.shape == "mesh"):
            raise RigError(
                field="file", wanted="given for a mesh, and for no other shape",
                got=plain(form.file) if form.file is not None else "none",
                cure='write shape = "mesh" and file = "stand.stl", or leave both out',
            )  # fmt: skip
        vertices, faces = (None, None) if form.file is None else read_mesh(folder / form.file)
        return Prop(
            name=form.name,
            shape=form.shape,
            position_mm=_channels(form.position_mm),
            width_mm=form.width_mm,
            depth_mm=form.width_mm if form.depth_mm is None else form.depth_mm,
            height_mm=form.height_mm,
            turn_rad=math.radians(form.turn_deg),
            reflectance=_channels(form.reflectance),
            vertices=vertices,
            faces=faces,
            unit_mm=form.unit_mm,
            file=form.file,
        )


def _room(form: forms.RoomForm, folder: Path) -> Room:
    table = {**dict(form.table), "reflectance": _channels(form.table.reflectance)}
    return Room(
        ambient_cd_m2=_channels(form.ambient_cd_m2),
        probe=None if form.probe is None else _probe(form.probe, folder),
        table=Table(**table) if form.has_table else None,
        walls=None if form.walls is None else _walls(form.walls),
        reach=Reach(**dict(form.reach)),
    )


def _probe(form: forms.ProbeForm, folder: Path) -> Probe:
    with inside("room.probe"):
        pixels = read_probe(folder / form.file)
    return Probe(
        pixels=pixels,
        scale=form.scale_cd_m2,
        turn_rad=math.radians(form.turn_deg),
        file=form.file,
    )


def _walls(form: forms.WallsForm) -> Walls:
    return Walls(
        width_mm=form.width_mm,
        depth_mm=form.depth_mm,
        ceiling_mm=form.ceiling_mm,
        floor_mm=form.floor_mm,
        walls=_channels(form.wall_reflectance),
        ceiling=_channels(form.ceiling_reflectance),
        floor=_channels(form.floor_reflectance),
    )
