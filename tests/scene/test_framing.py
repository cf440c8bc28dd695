"""The sheet in the frame, against the pinhole's closed form."""

import math

import numpy as np
import pytest

from lightplan.scene import Body, Camera, Placement, Sheet
from lightplan.scene.framing import framed, framing, held_upright, leaning

SHEET = Sheet(width_mm=148, height_mm=105)


def camera(height=500.0):
    return Camera(placement=Placement((0, 0, height)), focal_length_mm=50)


def test_a_square_view_fills_the_frame_as_similar_triangles_say():
    # image over focal length is object over distance: 148 mm at 500 mm are 14.8 of 23.5 mm
    found = framing(camera(), SHEET)
    assert found.across == pytest.approx(148 * 50 / 500 / 23.5)
    assert found.down == pytest.approx(105 * 50 / 500 / 15.6)
    assert found.inside == 1.0
    assert framing(camera(200), SHEET).inside < 1.0


@pytest.mark.parametrize("lean_deg", [0, 20, 40])
@pytest.mark.parametrize("fill", [0.7, 0.85])
def test_the_camera_goes_where_the_sheet_fills_the_frame(lean_deg, fill):
    towards = leaning(-math.pi / 2, math.radians(lean_deg))
    found = framed(camera(), SHEET, towards, fill=fill)
    assert framing(found, SHEET).filled == pytest.approx(fill, abs=2e-3)
    x, y, z = found.placement.position_mm
    assert math.atan2(math.hypot(x, y), z) == pytest.approx(math.radians(lean_deg), abs=1e-9)
    places = found.project(np.array([[0, 52.5, 0], [0, -52.5, 0.0]]), 2, 2)
    assert places[:, 0].mean() == pytest.approx(0.5, abs=0.01), "above and below are alike"


def test_a_lens_does_not_come_nearer_than_it_focuses():
    near = framed(camera(), Sheet(width_mm=20, height_mm=20), leaning(0.0, 0.3))
    assert math.dist(near.placement.position_mm, (0, 0, 0)) == pytest.approx(275)  # 5.5 x 50 mm


def test_held_upright_the_sides_change_places_and_twice_is_a_half_turn():
    body = Body(width_mm=155, height_mm=75, lens_offset_mm=(55, 10))
    phone = Camera(placement=Placement((0, 0, 300)), body=body, pixels=(4000, 3000))
    once = held_upright(phone)
    assert (once.sensor_width_mm, once.pixels) == (phone.sensor_height_mm, (3000, 4000))
    assert once.body.lens_offset_mm == (-10, 55)
    assert held_upright(once).body.lens_offset_mm == (-55, -10)
