"""A lamp of which a silvered card sees only what stands over its own plane."""

import numpy as np
import pytest

from lightplan.light import emission
from lightplan.light.cells import Patchwork
from lightplan.light.glossy import GlossyLight
from lightplan.light.mirrors import Mirrors
from lightplan.light.outlook import Outlook
from lightplan.light.surround import Surroundings
from lightplan.optics.specular import SpecularCurve
from lightplan.scene import Camera, Lamp, Output, Placement, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

ALPHA = 0.25
SILVER = SpecularCurve(np.ones((2, 3)), np.ones((2, 3)))


def seen(middle_mm, spots):
    """What a silvered plane at z = 0, looked at by 40 rays, shows of a bulb that it cuts."""
    bulb = Lamp(
        name="bulb",
        shape="bulb",
        width_mm=68,
        height_mm=68,
        placement=Placement((0, 400, middle_mm), (0, 0, 0)),
        output=Output(value=1, unit="cd/m2"),
    )
    rig = Rig(
        title="a plane",
        sheet=Sheet(width_mm=20, height_mm=20),
        camera=Camera(placement=Placement((0, -500, 600))),
        lamps=(bulb,),
    )
    surfaces = build_surfaces(rig)
    lamps = emission.lamp_faces(rig, surfaces)
    draw = np.random.default_rng(3)
    points = draw.uniform(-100, 100, (40, 3)) * [1, 1, 0]
    views = draw.uniform([-0.5, -0.9, 0.2], [0.5, -0.3, 0.6], (40, 3))
    views /= np.linalg.norm(views, axis=1, keepdims=True)
    axes = (np.tile(axis, (40, 1)) for axis in np.eye(3))
    mirrors = Mirrors(points, views, *axes, (ALPHA, ALPHA), np.full(40, -1))
    light = GlossyLight(mirrors, SILVER, rays=4, spots=spots, skip=frozenset({0}), depth=1)
    patchwork = Patchwork(surfaces, 1, 2, 4)
    light.update(surfaces, patchwork, lamps, frozenset())
    texels = np.zeros((patchwork.texel_count, 1, 3), np.float32)
    texels[1] = 1.0
    return light.evaluate(Outlook(texels, Surroundings(rig.room), np.zeros(1, np.float32)))[:, 0, 1]


@pytest.mark.parametrize("middle_mm", [1.0, 5.0, 40.0])
def test_few_points_do_for_a_lamp_at_the_horizon_of_silver(middle_mm):
    """Masking falls off to nothing there, so what is over the horizon has to have points."""
    few, many = seen(middle_mm, 9), seen(middle_mm, 2000)
    assert many.mean() > 0
    assert few.sum() == pytest.approx(many.sum(), rel=0.05)
