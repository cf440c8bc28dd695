"""Posts, boxes and meshes in the light: against flat cards, balls and each other.

Every pair below is one body described in two ways, so that both have to give the same light.
"""

import dataclasses
import math

import numpy as np
import pytest

from lightplan.geometry.mesh import Mesh
from lightplan.light import Detail, Engine
from lightplan.light.cells import Patchwork
from lightplan.scene import (
    Camera,
    Card,
    Foil,
    Lamp,
    Output,
    Paper,
    Placement,
    Prop,
    Rig,
    Room,
    Sheet,
    Side,
)
from lightplan.scene.surfaces import Face, Surface, build_surfaces, flat_at

QUICK = Detail(camera_rows=90, camera_cols=120, sheet_long_side=80)
CORNERS = np.array([[-1, -1, -1], [1, -1, -1], [1, 1, -1], [-1, 1, -1],
                    [-1, -1, 1], [1, -1, 1], [1, 1, 1], [-1, 1, 1]])  # fmt: skip
BOX_FACES = np.array([[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4],
                      [1, 2, 6], [1, 6, 5], [2, 3, 7], [2, 7, 6], [3, 0, 4],
                      [3, 4, 7]])  # fmt: skip


def rig(**changes):
    base = Rig(
        title="props", sheet=Sheet(width_mm=148, height_mm=105, foil=Foil(roughness=(0.1, 0.1))),
        camera=Camera(placement=Placement((0, -400, 500))), room=Room(table=None),
        lamps=(
            Lamp(name="key", placement=Placement((-400, 250, 420)), width_mm=250, height_mm=250,
                 output=Output(value=1000, unit="cd/m2")),
        ),
    )  # fmt: skip
    return dataclasses.replace(base, **changes)


def seen(rig, detail=QUICK):
    return Engine(rig, detail).layers(rig)


def difference(one, other):
    """Root mean square difference over the mean."""
    return math.sqrt(np.mean((one - other) ** 2)) / other.mean()


def assert_same_light(one, other, within):
    for layer in ("sheet_paper", "sheet_foil"):
        assert difference(getattr(one, layer), getattr(other, layer)) < within, layer


def cylinder(sides, radius, height):
    """A closed cylinder of triangles of the round one's cross-section."""
    grow = math.sqrt(2 * math.pi / sides / math.sin(2 * math.pi / sides))
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = np.stack([grow * radius * np.cos(turn), grow * radius * np.sin(turn), 0 * turn], axis=1)
    i, j = np.arange(sides), (np.arange(sides) + 1) % sides
    faces = [
        (i, j, j + sides),
        (i, j + sides, i + sides),
        (i + sides, j + sides, 0 * i + 2 * sides),
        (j, i, 0 * i + 2 * sides + 1),
    ]
    ends = [[0, 0, height], [0, 0, 0]]
    vertices = np.concatenate([ring, ring + np.array([0.0, 0.0, height]), ends])
    return vertices, np.concatenate([np.stack(face, axis=1) for face in faces])


def mesh(vertices, faces, **more):
    return Prop(name="thing", shape="mesh", vertices=vertices, faces=faces, **more)


def test_a_rectangle_of_triangles_gives_the_light_of_a_card():
    place = Placement((120, 60, 120), (0, 0, 20))
    side = Side(reflectance=(0.85, 0.6, 0.4))
    card = Card(name="thing", placement=place, width_mm=160, height_mm=200, front=side, back=side)
    outline = flat_at(place, 160, 200).outline()
    low, high = outline.min(axis=0), outline.max(axis=0)
    foot = (*((low + high) / 2)[:2], low[2])
    sheet = mesh(
        outline, np.array([[0, 1, 2], [0, 2, 3]]), position_mm=foot, reflectance=(0.85, 0.6, 0.4)
    )
    as_card, as_mesh, bare = (seen(rig(**c)) for c in ({"cards": (card,)}, {"props": (sheet,)}, {}))
    assert difference(as_card.sheet_paper, bare.sheet_paper) > 0.03
    assert difference(as_card.sheet_foil, bare.sheet_foil) > 0.05
    assert_same_light(as_mesh, as_card, 0.01)


@pytest.mark.parametrize("reflectance", [0.04, 0.7])
def test_a_box_of_triangles_gives_the_light_of_a_box(reflectance):
    common = {"position_mm": (-130, 60, 0), "turn_rad": 0.4, "reflectance": (reflectance,) * 3}
    box = Prop(name="thing", shape="box", width_mm=60, depth_mm=40, height_mm=150, **common)
    made = mesh(CORNERS * [30, 20, 75.0], BOX_FACES, **common)
    as_box, as_mesh, bare = (seen(rig(props=p)) for p in ((box,), (made,), ()))
    assert difference(as_box.sheet_paper, bare.sheet_paper) > 0.1
    assert_same_light(as_mesh, as_box, 0.01)


def test_a_cylinder_of_triangles_gives_the_light_of_a_post():
    common = {"position_mm": (-130, 60, 0), "reflectance": (0.4,) * 3}
    post = Prop(name="thing", width_mm=50, depth_mm=50, height_mm=180, **common)
    made = mesh(*cylinder(48, 25, 180), **common)
    as_post, as_mesh, bare = (seen(rig(props=p)) for p in ((post,), (made,), ()))
    assert difference(as_post.sheet_paper, bare.sheet_paper) > 0.1
    assert_same_light(as_mesh, as_post, 0.01)


def test_a_sphere_of_triangles_throws_the_shadow_of_a_bulb_that_is_off():
    trimesh = pytest.importorskip("trimesh")
    made = trimesh.creation.icosphere(subdivisions=4)
    grow = (4 / 3 * math.pi / made.volume) ** (1 / 3) * 40
    off = Lamp(
        name="thing",
        shape="bulb",
        placement=Placement((-90, 60, 150), (0, 0, 0)),
        width_mm=80,
        height_mm=80,
        on=False,
    )
    ball = mesh(
        grow * made.vertices, made.faces, position_mm=(-90, 60, 110.0), reflectance=(0.0,) * 3
    )
    base = rig()
    as_bulb = seen(dataclasses.replace(base, lamps=(*base.lamps, off)))
    as_mesh, bare = seen(rig(props=(ball,))), seen(base)
    assert difference(as_bulb.sheet_paper, bare.sheet_paper) > 0.1
    assert_same_light(as_mesh, as_bulb, 0.01)


def test_the_foil_names_the_prop_and_the_camera_sees_it():
    wall = Prop(
        name="crate",
        shape="box",
        position_mm=(0, 180, 0),
        width_mm=400,
        depth_mm=20,
        height_mm=300,
        reflectance=(0.5, 0.3, 0.1),
    )
    layers = seen(rig(props=(wall,)))
    named = layers.sees == layers.sees_names.index("crate")
    # mirror geometry: from a sheet point at y the ray to the lens at (-400, 500) leaves at
    # 500 / (y + 400) up and meets the near face at y = 170
    rise = 500 / (layers.sheet_y_mm + 400) * (170 - layers.sheet_y_mm)
    np.testing.assert_array_equal(named.all(axis=1), rise < 300)
    beside = layers.camera_surround[np.isfinite(layers.camera_surround[..., 0])]
    red, green, _ = beside[beside[:, 0] > 1].T
    np.testing.assert_allclose(green / red, 0.6, rtol=0.05)


def test_a_turned_box_has_one_name_for_all_its_sides():
    box = Prop(
        name="crate",
        shape="box",
        position_mm=(0, 150, 0),
        width_mm=80,
        depth_mm=80,
        height_mm=200,
        turn_rad=math.pi / 4,
    )
    names = seen(rig(props=(box,))).sees_names
    assert sorted(names) == sorted(set(names))
    assert "crate" in names


def test_a_prop_before_the_lens_hides_the_sheet():
    layers = seen(
        rig(
            props=(
                Prop(name="post", position_mm=(0, -90, 0), width_mm=30, depth_mm=30, height_mm=180),
            )
        )
    )
    middle = layers.camera_paper[:, 60]
    hidden = np.isnan(layers.camera_xyz_mm[:, 60, 0])
    free = np.isfinite(seen(rig()).camera_xyz_mm[:, 60, 0])
    assert (hidden & free).sum() > 5
    assert np.isfinite(layers.camera_surround[:, 60][hidden & free]).all()
    assert np.isnan(middle[hidden]).all()


def test_props_give_nothing_of_their_own():
    """In even surroundings of luminance 1 white things vanish (the white furnace)."""
    white = {"reflectance": (1.0,) * 3, "position_mm": (-110, 40, 0)}
    even = Room(table=None, ambient_cd_m2=(1.0, 1.0, 1.0))
    for thing in (
        mesh(*cylinder(24, 20, 120), **white),
        Prop(name="post", width_mm=40, depth_mm=40, **white),
        Prop(name="box", shape="box", width_mm=40, depth_mm=40, height_mm=90, **white),
    ):
        camera = Camera(placement=Placement((0, -400, 500)), body=None)
        sheet = Sheet(width_mm=148, height_mm=105, paper=Paper(reflectance=(1.0,) * 3))
        paper = seen(
            rig(sheet=sheet, lamps=(), props=(thing,), room=even, camera=camera)
        ).sheet_paper
        np.testing.assert_allclose(paper, 1.0, atol=0.03)
        assert paper.mean() == pytest.approx(1.0, abs=0.01)


def test_a_moved_lamp_gives_what_a_new_engine_gives():
    thing = mesh(CORNERS * 30.0, BOX_FACES, position_mm=(-130, 60, 0), reflectance=(0.5,) * 3)
    first = rig(props=(thing,))
    lamp = dataclasses.replace(first.lamps[0], placement=Placement((-380, 260, 430)))
    second = dataclasses.replace(first, lamps=(lamp,))
    engine = Engine(first, QUICK)
    engine.layers(first)
    assert_same_light(engine.layers(second), seen(second), 1e-5)


def test_a_mesh_shows_each_cell_as_it_is():
    """No colour runs from one face of a box to the next."""
    body = Mesh(CORNERS * 30.0, BOX_FACES)
    sheet = build_surfaces(rig())[0]
    surfaces = (sheet, Surface("box", "prop", body, Face((0.5,) * 3)))
    patches = Patchwork(surfaces, 0, 10, 64)
    face = patches.faces[1]
    values = np.zeros((patches.count, 3))
    values[face.cells] = np.arange(1, body.cell_count + 1)[:, None]
    table = patches.look_up(values, np.zeros((0, 3)))
    cells = body.grid(0, 0)
    crossing = body.trace(
        (cells.centres + 9 * cells.normals).astype(np.float32)[:, None],
        -cells.normals.astype(np.float32)[:, None],
    )
    texel = patches.texels(surfaces, 1, *crossing[1:])
    np.testing.assert_array_equal(table[texel[:, 0], 0], np.arange(1, body.cell_count + 1))
    np.testing.assert_array_equal(
        patches.between_texels(1, crossing, table)[:, 0], np.arange(1, body.cell_count + 1)
    )
