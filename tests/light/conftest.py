"""Reference scenes (metres, an independent path tracer's) turned into rigs."""

import json
import math
from pathlib import Path

import numpy as np
import pytest

from lightplan.optics import fresnel
from lightplan.scene import (
    Body,
    Camera,
    Card,
    Conductor,
    Flatness,
    Foil,
    Grating,
    Hole,
    Lamp,
    Output,
    Paper,
    Placement,
    Probe,
    Prop,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Table,
    Walls,
)

PATHTRACED = Path(__file__).parents[1] / "reference" / "pathtraced"
SHARED = Path(__file__).parents[2] / ".." / "shared"
ROOM = {"wall_left", "wall_right", "wall_far", "wall_near", "ceiling", "floor"}


def mm(values):
    return tuple(1000.0 * float(v) for v in values)


def shares(values):
    """Shares of the three channels; one figure stands for all."""
    return tuple(float(v) for v in np.broadcast_to(values, 3))


def placement(item):
    """Placement of a rectangle given by centre, normal and up."""
    centre, normal = np.array(mm(item["center"])), np.array(item["normal"])
    plain = Placement(tuple(centre), tuple(centre + 500 * normal))
    _, up, facing = plain.axes()
    wanted = np.array(item["up"])
    roll = math.atan2(np.cross(up, wanted) @ facing, up @ wanted)
    return Placement(tuple(centre), tuple(centre + 500 * normal), roll)


def lamp(item):
    shape = {"rect": "rectangle", "disk": "disk", "sphere": "bulb"}[item["shape"]]
    middle = (0.0, 0.0, 0.0)
    where = Placement(mm(item["center"]), middle) if shape == "bulb" else placement(item)
    width = 1000 * (item["width"] if shape == "rectangle" else 2 * item["radius"])
    height = 1000 * item["height"] if shape == "rectangle" else width
    return Lamp(
        name=item["name"],
        shape=shape,
        placement=where,
        width_mm=width,
        height_mm=height,
        output=Output(value=item["radiance"][0], unit="cd/m2"),
    )


def side(item):
    metal = item.get("specular")
    if metal is None:
        return Side(reflectance=shares(item["reflectance"]))
    reflectance = metal.get("reflectance")
    if reflectance is None:
        s, p = fresnel.conductor(1.0, np.array(metal["eta"]), np.array(metal["k"]))
        reflectance = (s + p) / 2
    return Side(finish="silver", reflectance=tuple(reflectance), roughness=metal["alpha"])


def card(item):
    hole = item.get("hole_radius")
    passes = shares(item.get("tau", item.get("transmittance", 0.0)))
    face = Side(reflectance=shares(item["rho"])) if "rho" in item else side(item)
    return Card(
        name=item["name"],
        placement=placement(item),
        width_mm=1000 * item["width"],
        height_mm=1000 * item["height"],
        front=face,
        back=face,
        transmittance=passes,
        hole=None if hole is None else Hole(diameter_mm=2000 * hole),
    )


def shell(item):
    return Shell(
        name=item["name"],
        shape="cone",
        centre_mm=mm(item["centre"]),
        foot_width_mm=2000 * item["r_bottom"],
        top_width_mm=2000 * item["r_top"],
        height_mm=1000 * item["height"],
        reflectance=tuple(item["rho"]),
        transmittance=tuple(item["tau"]),
    )


def prop(item):
    """A body of triangles where it stands: the middle of its foot is taken from it."""
    vertices = 1000 * np.array(item["vertices"])
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    foot = (*((low + high) / 2)[:2], low[2])
    return Prop(
        name=item["name"],
        shape="mesh",
        position_mm=foot,
        vertices=vertices,
        faces=np.array(item["faces"]),
        reflectance=tuple(item["reflectance"]),
    )


def room(scene):
    table = scene["table"]
    if table is not None:
        table = Table(
            width_mm=1000 * table["width"],
            depth_mm=1000 * table["height"],
            reflectance=tuple(table["reflectance"]),
            drop_mm=-1000 * table["center"][2],
        )
    walls = {c["name"]: c for c in scene["cards"] if c["name"] in ROOM}
    return Room(
        table=table,
        ambient_cd_m2=tuple(scene["ambient_radiance"]),
        probe=probe(scene.get("probe")),
        walls=room_walls(walls) if walls else None,
    )


def room_walls(walls):
    return Walls(
        width_mm=1000 * walls["floor"]["width"],
        depth_mm=1000 * walls["floor"]["height"],
        ceiling_mm=1000 * walls["ceiling"]["center"][2],
        floor_mm=-1000 * walls["floor"]["center"][2],
        walls=tuple(walls["wall_left"]["reflectance"]),
        ceiling=tuple(walls["ceiling"]["reflectance"]),
        floor=tuple(walls["floor"]["reflectance"]),
    )


def probe(formula):
    """A probe picture drawn from the scene's formula, in the axes of `Probe`."""
    if formula is None:
        return None
    rows, cols = 256, 512
    polar = ((np.arange(rows) + 0.5) / rows * np.pi)[:, None]
    clockwise = ((np.arange(cols) + 0.5) / cols - 0.5) * 2 * np.pi
    d = np.stack(
        [
            np.sin(polar) * np.sin(clockwise),
            np.sin(polar) * np.cos(clockwise),
            np.cos(polar) + 0 * clockwise,
        ],
        axis=-1,
    )
    light = np.multiply.outer(1 + formula["slope"] * d[..., 2], np.array(formula["base"]))
    for window in formula["windows"]:
        near = np.exp(window["sharpness"] * (d @ np.array(window["direction"]) - 1))
        light += np.multiply.outer(near, np.array(window["radiance"]))
    return Probe(pixels=light)


def paper(material):
    if material["model"] == "coated":
        return Paper(
            reflectance=tuple(material["reflectance"]),
            coat_index=material["coat_index"],
            coat_roughness=material["alpha"],
        )
    return Paper(reflectance=tuple(material["reflectance"]))


def grating(item):
    """The foil's grating: its orders' shares are told, ours only their sum."""
    if item is None:
        return None
    return Grating(
        lines_per_mm=item["lines_per_mm"],
        direction_rad=math.radians(item["direction_deg"]),
        strength=sum(item["shares"].values()),
    )


def camera(scene, body):
    item = scene["camera"]
    height = 24.0
    focal = height / 2 / math.tan(math.radians(item["vfov_deg"]) / 2)
    return Camera(
        placement=Placement(mm(item["position"]), mm(item["look_at"])),
        focal_length_mm=focal,
        sensor_height_mm=height,
        sensor_width_mm=height * item["width"] / item["height"],
        body=body,
    )


def sheet(scene):
    metal, flat = scene["materials"]["foil"], scene["sheet"]
    width, bow = flat.get("width"), flat.get("bow", 0.0)
    if flat["shape"] == "cylinder":  # an arc with its ends on the table; ours is a parabola
        turn, radius = flat["theta_max"], flat["radius"]
        width, bow = 2 * radius * math.sin(turn), radius * (1 - math.cos(turn))
    return Sheet(
        width_mm=1000 * width,
        height_mm=1000 * flat["height"],
        foil=Foil(
            conductor=Conductor(eta=tuple(metal["eta"]), k=tuple(metal["k"])),
            roughness=(metal["alpha_x"], metal["alpha_y"]),
            grating=grating(metal.get("grating")),
        ),
        paper=paper(scene["materials"]["paper"]),
        flatness=Flatness(bow_mm=1000 * bow),
    )


def build_rig(scene):
    """The rig of a reference scene."""
    cards, body = [], None
    for item in scene["cards"]:
        if item["name"] == "camera_body":
            body = Body(
                width_mm=1000 * item["width"],
                height_mm=1000 * item["height"],
                reflectance=item["reflectance"][0],
            )
        elif item["name"] == "wall_right" and "wall_left" in {c["name"] for c in scene["cards"]}:
            # of another colour than the rest: a card a millimetre before that wall
            near = dict(item, center=[item["center"][0] - 0.001, *item["center"][1:]])
            cards.append(card(near))
        elif item["name"] not in ROOM:
            cards.append(card(item))
    cards += [card(item) for item in scene["diffuser_panels"]]
    return Rig(
        title=scene["name"],
        sheet=sheet(scene),
        camera=camera(scene, body),
        lamps=tuple(lamp(item) for item in scene["lights"]),
        cards=tuple(cards),
        shells=tuple(shell(item) for item in scene["diffuser_shells"]),
        props=tuple(prop(item) for item in scene.get("meshes", [])),
        room=room(scene),
    )


def tint(scene):
    """Colour (3,) that all lamps of a scene share, red being 1 (a rig's lamps are neutral)."""
    colours = [np.array(item["radiance"]) / item["radiance"][0] for item in scene["lights"]]
    if not colours:
        return np.ones(3)
    assert all(np.allclose(colour, colours[0]) for colour in colours)
    return colours[0]


@pytest.fixture(scope="session")
def tint_of_scene():
    return tint


@pytest.fixture(scope="session")
def rig_of_scene():
    return build_rig


@pytest.fixture(scope="session")
def scene_rig():
    """Rig of a stored scene by name."""
    return lambda name: build_rig(json.loads((PATHTRACED / f"{name}.json").read_text()))


@pytest.fixture(scope="session")
def pathtraced_folder():
    return PATHTRACED


@pytest.fixture(scope="session")
def oracle_folder():
    folder = SHARED / "oracle"
    if not folder.is_dir():
        pytest.skip("the shared reference pictures are not here")
    return folder
