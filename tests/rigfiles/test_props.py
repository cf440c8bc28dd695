"""Stands, boxes and meshes in rig files."""

import dataclasses
import math
import struct

import numpy as np
import pytest

from lightplan.errors import RigError
from lightplan.light import Detail, Engine
from lightplan.rigfiles import load_rig, meshes, rig_digest, rig_to_toml, write_rig
from lightplan.rigfiles.meshes import read_mesh

PYRAMID = np.array([[0, 0, 0], [20, 0, 0], [20, 20, 0], [0, 20, 0], [10, 10, 30.0]])
TRIANGLES = np.array([[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]])
VOLUME = 20 * 20 * 30 / 3
MESH = """
[[props]]
name = "clamp"
shape = "mesh"
file = "clamp.stl"
position_mm = [150, 0, 0]
"""


def as_stl(vertices=PYRAMID, faces=TRIANGLES):
    """Binary STL as its inventor laid it down (3D Systems, 1989): 50 bytes a triangle."""
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *vertices[face].ravel(), 0) for face in faces)
    return bytes(80) + struct.pack("<I", len(faces)) + body


def as_obj(vertices=PYRAMID, faces=TRIANGLES):
    lines = ["mtllib no-such-file.mtl", "usemtl brass"]
    lines += [f"v {x} {y} {z}" for x, y, z in vertices]
    return "\n".join([*lines, *(f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces)]).encode()


def as_ply(vertices=PYRAMID, faces=TRIANGLES):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(vertices)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = [f"{x} {y} {z}" for x, y, z in vertices] + [f"3 {a} {b} {c}" for a, b, c in faces]
    return (head + "\n".join(rows) + "\n").encode()


@pytest.fixture
def mesh_rig(rig_file, minimal, tmp_path):
    def write(fields="", content=None):
        (tmp_path / "clamp.stl").write_bytes(as_stl() if content is None else content)
        return rig_file(minimal + MESH + fields)

    return write


@pytest.mark.parametrize(("ending", "form"), [("stl", as_stl), ("obj", as_obj), ("PLY", as_ply)])
def test_the_same_body_from_every_kind_of_file(tmp_path, ending, form):
    path = tmp_path / f"body.{ending}"
    path.write_bytes(form())
    vertices, faces = read_mesh(path)
    assert len(vertices) == 5
    assert len(faces) == 6
    corners = vertices[faces]
    volume = np.einsum("nc,nc->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6
    assert volume == pytest.approx(VOLUME)


def test_a_mesh_stands_where_it_is_put(mesh_rig):
    prop = load_rig(mesh_rig("unit_mm = 10\nturn_deg = 90\n")).rig.props[0]
    assert prop.reflectance == (0.04, 0.04, 0.04)
    np.testing.assert_allclose(prop.body.bounds, [[50, -100, 0], [250, 100, 300]], atol=1e-6)
    assert prop.body.is_closed
    assert prop.turn_rad == pytest.approx(math.pi / 2)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "at least one triangle"),
        (b"not a mesh at all", "at least one triangle"),
        (as_stl()[:-30], "triangle"),
        (as_stl(PYRAMID * [1, 1, np.nan]), "no numbers"),
        (as_stl(0 * PYRAMID), "an area"),
        (as_stl(PYRAMID * [1, 0, 0]), "with an area"),
    ],
)
def test_files_that_are_no_mesh_are_refused(mesh_rig, content, says, assert_one_sentence):
    path = mesh_rig(content=content)
    with pytest.raises(RigError, match=says) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)
    assert "props.clamp." in str(caught.value)


def test_meshes_too_large_are_refused(tmp_path, monkeypatch):
    path = tmp_path / "body.stl"
    path.write_bytes(as_stl())
    monkeypatch.setattr(meshes, "MOST_FACES", 5)
    with pytest.raises(RigError, match="at most 5 triangles"):
        read_mesh(path)
    monkeypatch.setattr(meshes, "MOST_BYTES", 100)
    with pytest.raises(RigError, match="below 20 MB"):
        read_mesh(path)


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ('shape = "mesh"', r"props\.a\.file must be given for a mesh"),
        ('file = "a.stl"', r"props\.a\.file must be given for a mesh"),
        (
            'shape = "mesh"\nfile = "a.stl"',
            r"props\.a\.file a\.stl must be a mesh file that exists",
        ),
        ('shape = "mesh"\nfile = "a.blend"', r"must be a \.stl, \.obj or \.ply mesh"),
        ("width_mm = -3", r"props\.a\.width_mm must be from 0.001 to 100000"),
        ("depth_mm = 3", r"props\.a\.depth_mm must be as width_mm"),
        ("reflectance = 1.5", r"props\.a\.reflectance must be from 0 to 1"),
        ("turn_deg = 999", r"props\.a\.turn_deg must be from -360 to 360 "),
        ('shape = "pots"', r"did you mean post"),
        ("hieght_mm = 3", r"did you mean height_mm"),
    ],
)
def test_wrong_fields_are_named(rig_file, minimal, fields, says, assert_one_sentence):
    place = "" if "position" in fields else "position_mm = [200, 0, 0]\n"
    path = rig_file(minimal + f'[[props]]\nname = "a"\n{place}{fields}\n')
    with pytest.raises(RigError, match=says) as caught:
        load_rig(path)
    assert_one_sentence(caught.value, path)


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("[0, 0, 0]", "clear of the sheet"),
        ("[54, 0, 0]", "clear of the sheet"),  # half of 85 and half of 30 is 57.5
        ("[54, 0, 4]", "clear of the sheet"),
        ("[200, 0, -100]", "above the table"),
        ("[610, 0, -750]", "above the table"),
    ],
)
@pytest.mark.parametrize("shape", ["post", "box", "mesh"])
def test_props_stand_on_the_table_beside_the_sheet(rig_file, minimal, tmp_path, place, says, shape):
    more = ""
    if shape == "mesh":
        (tmp_path / "a.stl").write_bytes(as_stl(PYRAMID * [1.5, 1.5, 5]))
        more = 'file = "a.stl"\n'
    text = f'{minimal}[[props]]\nname = "a"\nshape = "{shape}"\nposition_mm = {place}\n{more}'
    with pytest.raises(RigError, match=says):
        load_rig(rig_file(text))


@pytest.mark.parametrize("place", ["[58, 0, 0]", "[0, 0, 6]", "[620, 0, -750]"])
@pytest.mark.parametrize("shape", ["post", "box"])
def test_props_may_stand_beside_the_sheet_above_it_or_on_the_floor(rig_file, minimal, place, shape):
    text = f'{minimal}[[props]]\nname = "a"\nshape = "{shape}"\nposition_mm = {place}\n'
    assert load_rig(rig_file(text)).rig.props[0].shape == shape


def test_an_arm_may_reach_over_the_sheet(rig_file, minimal, tmp_path):
    arm = PYRAMID * [20, 1, 1] + np.array([0, 0, 50])  # 400 mm long, 50 mm up
    foot = PYRAMID + np.array([360, 0, 0])
    both = as_stl(np.concatenate([arm, foot]), np.concatenate([TRIANGLES, TRIANGLES + 5]))
    (tmp_path / "arm.stl").write_bytes(both)
    text = '[[props]]\nname = "arm"\nshape = "mesh"\nfile = "arm.stl"\nposition_mm = [-100, 0, 0]\n'
    prop = load_rig(rig_file(minimal + text)).rig.props[0]
    assert prop.body.bounds[0, 0] < -42.5  # right across the sheet


def test_names_differ_from_those_of_lamps(rig_file, minimal):
    lamp = '[[lamps]]\nname = "a"\nposition_mm = [0, 300, 400]\n'
    prop = '[[props]]\nname = "a"\nposition_mm = [200, 0, 0]\n'
    with pytest.raises(RigError, match="different for every lamp, card, shell and prop"):
        load_rig(rig_file(minimal + lamp + prop))


def test_the_digest_follows_the_mesh_and_not_its_name(mesh_rig, tmp_path):
    path = mesh_rig()
    first = load_rig(path).digest
    (tmp_path / "other.stl").write_bytes(as_stl())
    path.write_text(path.read_text().replace("clamp.stl", "other.stl"))
    assert load_rig(path).digest == first
    (tmp_path / "other.stl").write_bytes(as_stl(PYRAMID * [1, 1, 1.01]))
    assert load_rig(path).digest != first


def test_a_copied_rig_takes_its_mesh_along(mesh_rig, tmp_path):
    loaded = load_rig(mesh_rig("# held by hand\n"))
    copy = write_rig(loaded, tmp_path / "new" / "copy.toml")
    assert copy.digest == loaded.digest
    assert list(copy.assets) == ["artwork/copy-prop-1.stl"]
    assert copy.assets["artwork/copy-prop-1.stl"].read_bytes() == as_stl()
    assert "# held by hand" in copy.path.read_text()


def test_a_changed_prop_is_written_and_comments_stay(rig_file, minimal, tmp_path):
    text = minimal + '[[props]] # the old one\nname = "a"\nposition_mm = [200, 0, 0]\n'
    loaded = load_rig(rig_file(text))
    prop = dataclasses.replace(
        loaded.rig.props[0], shape="box", depth_mm=70.0, turn_rad=0.5, position_mm=(0, 300, 0)
    )
    rig = dataclasses.replace(loaded.rig, props=(prop,))
    new = write_rig(loaded, tmp_path / "new.toml", rig=rig)
    assert new.digest == rig_digest(rig) != loaded.digest
    assert "# the old one" in new.path.read_text()
    assert load_rig(rig_file(rig_to_toml(rig), "again.toml")).digest == new.digest


def test_the_shipped_stand_holds_the_board_unseen():
    rig = load_rig("gold-card-above").rig
    stand, roof = rig.props[0], rig.cards[0]
    back = roof.placement.position_mm[1] + roof.height_mm / 2
    assert 0 < stand.position_mm[1] - stand.width_mm / 2 - back < 10  # a clamp's reach
    assert 0 <= roof.placement.position_mm[2] - stand.height_mm < 30
    detail = Detail.quick(camera_rows=90, camera_cols=120)
    layers = Engine(rig, detail).layers(rig)
    assert "roof" in layers.sees_names
    assert "stand" not in layers.sees_names
    bare = dataclasses.replace(rig, props=())
    without = Engine(bare, detail).layers(bare)
    np.testing.assert_allclose(layers.sheet_foil.mean(), without.sheet_foil.mean(), rtol=0.01)
    assert np.isfinite(layers.camera_surround[np.isnan(layers.camera_paper)]).all()
