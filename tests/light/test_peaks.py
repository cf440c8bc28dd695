"""What a small lamp shows in foil lies in one peak, which must not go between the points."""

import dataclasses

import numpy as np
import pytest

from lightplan.light import Detail, Engine
from lightplan.light.foil import foil_lattice
from lightplan.scene import Camera, Foil, Lamp, Output, Placement, Rig, Sheet
from lightplan.scene.surfaces import build_surfaces

QUICK = Detail.quick(camera_rows=8, camera_cols=8)


def lit_by(width_mm, shape="disk"):
    lamp = Lamp(
        name="key", shape=shape, placement=Placement((120.0, 0.0, 200.0)), width_mm=width_mm,
        height_mm=width_mm, output=Output(value=1000, unit="cd/m2"),
    )  # fmt: skip
    return Rig(
        title="a label", sheet=Sheet(width_mm=180, height_mm=240, foil=Foil(roughness=(0.1, 0.1))),
        camera=Camera(placement=Placement((0, -475, 823))), lamps=(lamp,),
    )  # fmt: skip


@pytest.mark.parametrize("shape", ["disk", "bulb"])
def test_quick_pictures_follow_the_peak_of_a_small_lamp(shape):
    """Against a much finer grid; with the points that an edge needs it was 4 % off."""
    rig = lit_by(10.0, shape)
    fine = dataclasses.replace(QUICK, steps_per_blur=7.0, foil_rays=2_000_000)
    found, wanted = (Engine(rig, detail).layers(rig).sheet_foil for detail in (QUICK, fine))
    off = np.sqrt(np.mean((found - wanted) ** 2))
    assert off < 0.02 * wanted.mean()


def test_only_small_lamps_ask_for_it():
    counts = [
        foil_lattice(rig, build_surfaces(rig), QUICK, 0.1).shape[0]
        for rig in map(lit_by, (10.0, 15.0, 180.0))
    ]
    assert counts[0] == counts[1] > counts[2]
