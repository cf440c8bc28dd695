"""Light that a grating sends on to cards, against what the camera's own grating shows there."""

import numpy as np
import pytest

from lightplan.geometry import points as point_sets
from lightplan.light import Detail, emission
from lightplan.light.cells import Patchwork
from lightplan.light.diffracted import diffracted
from lightplan.light.foil import foil_curve_of
from lightplan.light.glints import Receivers
from lightplan.light.grating_lobes import GratingLight
from lightplan.light.mirror_face import MirrorFace
from lightplan.light.outlook import Outlook
from lightplan.light.surround import Surroundings
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene import Camera, Foil, Grating, Lamp, Output, Placement, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

POINTS = np.array([[0.0, 150, 200], [-120, 40, 150], [60, -180, 260]])
ALPHA = (0.12, 0.12)
ROUGH, WHITE = 0.25, SpecularCurve(np.ones((2, 3)), np.ones((2, 3)))


def rig_with(shape, direction_rad):
    foil = Foil(grating=Grating(lines_per_mm=700, direction_rad=direction_rad, strength=0.6))
    size = 300 if shape == "rectangle" else 120
    return Rig(
        title="a rainbow tag",
        sheet=Sheet(width_mm=160, height_mm=120, foil=foil),
        camera=Camera(placement=Placement((0, -500, 600))),
        lamps=(
            Lamp(
                name="key",
                shape=shape,
                placement=Placement((-200, 350, 500), (0, 0, 0)),
                width_mm=size,
                height_mm=size,
                output=Output(value=1, unit="cd/m2"),
            ),
        ),
    )


VIEW = np.array([0.2, 0.1, 0.97]) / np.linalg.norm([0.2, 0.1, 0.97])


def of_silver(frame, ways):
    """What silver shows VIEW of light from places along ways to it (Walter et al. 2007)."""
    come = -ways @ frame.T
    half = come + VIEW
    half /= np.linalg.norm(half, axis=1, keepdims=True)
    shape = ((half[:, :2] / ROUGH) ** 2).sum(axis=1) + half[:, 2] ** 2
    masks = microfacet.g1(*come.T, ROUGH, ROUGH) * microfacet.g1(*VIEW, ROUGH, ROUGH)
    return masks / (np.pi * ROUGH**2 * shape**2) / 4 / VIEW[2]


def by_looking(rig, face, normals, frames=None):
    """All places of the sheet, each as a grating that is looked at from the points."""
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    patchwork = Patchwork(surfaces, 1, 2, 4)
    texels = np.zeros((patchwork.texel_count, 1, 3), np.float32)
    texels[1] = 1.0
    outlook = Outlook(texels, Surroundings(rig.room), np.zeros(1, np.float32))
    spots = face.spots(surfaces, 610)
    found = []
    for number, (point, normal) in enumerate(zip(POINTS, normals, strict=True)):
        ways = point - spots.points
        far = np.linalg.norm(ways, axis=1)
        views = ways / far[:, None]
        mirrors = face.mirrors(spots.points, np.array(spots.normals, float), views)
        light = GratingLight(mirrors, face.curve, face.grating, Detail(), None)
        light.update(surfaces, patchwork, lamps, frozenset({0, 1}))
        shown = light.evaluate(outlook, lamps)[:, 0]
        arrive = -(views @ normal) / np.pi if frames is None else of_silver(frames[number], views)
        weight = arrive * views[:, 2] * spots.areas / far**2
        found.append(weight @ shown)
    return np.array(found)


@pytest.mark.parametrize("is_silver", [False, True])
@pytest.mark.parametrize("shape", ["rectangle", "disk", "bulb"])
@pytest.mark.parametrize("direction_rad", [0.3, 1.7])
def test_what_cards_get_by_a_grating(shape, direction_rad, is_silver):
    rig = rig_with(shape, direction_rad)
    face = MirrorFace(
        0,
        is_front=True,
        curve=foil_curve_of(rig.sheet.foil),
        roughness=ALPHA,
        tangent=np.array([0.8, 0.6, 0.0]),
        grating=rig.sheet.foil.grating,
    )
    normals = -POINTS / np.linalg.norm(POINTS, axis=1, keepdims=True)
    frames = np.stack([*point_sets.frames(normals), normals], axis=1)
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    receivers = Receivers(POINTS, frames, np.arange(len(POINTS)))
    if is_silver:
        mirrors = (np.tile(VIEW, (len(POINTS), 1)), (ROUGH, ROUGH), WHITE)
        receivers = Receivers(POINTS, frames, np.arange(len(POINTS)), *mirrors)
    found = diffracted(receivers, face, face.grating, surfaces, lamps, 20_000)[:, :, 0].T
    wanted = by_looking(rig, face, normals, frames if is_silver else None)
    assert wanted.min() > 0
    np.testing.assert_allclose(found.mean(axis=1), wanted.mean(axis=1), rtol=0.02)
    assert np.abs(found - wanted).max() < 0.05 * wanted.max()


def test_few_places_tell_of_many_cells_without_bias():
    rig = rig_with("bulb", 0.3)
    face = MirrorFace(
        0, is_front=True, curve=foil_curve_of(rig.sheet.foil), roughness=(0.05, 0.05),
        grating=rig.sheet.foil.grating,
    )  # fmt: skip
    x, z = np.random.default_rng(2).uniform([-200, 20], [200, 300], (400, 2)).T
    points = np.column_stack([x, np.full(400, 130.0), z])
    normals = np.tile([0.0, -1.0, 0.0], (400, 1))
    frames = np.stack([*point_sets.frames(normals), normals], axis=1)
    surfaces = build_surfaces(rig)
    given = (face, face.grating, surfaces, emission.lamp_faces(rig, surfaces))
    receivers = Receivers(points, frames, np.arange(400))
    few, many = (diffracted(receivers, *given, drawn) for drawn in (8, 400))
    assert few.sum() == pytest.approx(many.sum(), rel=0.03)
