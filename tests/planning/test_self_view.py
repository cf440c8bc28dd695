"""The camera in its own picture: closed forms and the trade's own figures."""

import math

import numpy as np
import pytest

from lightplan.mirror.self_view import (
    clip_to_box,
    hole_out,
    offset_out,
    polygon_area,
    self_view,
    tilt_out,
    ways_out,
)
from lightplan.scene import Body, Camera, Placement, Sheet


@pytest.mark.parametrize("height", [200, 500, 1500])
def test_the_camera_covers_half_its_width_at_every_distance(height):
    # Common practice; closed form: the mirror image stands as deep as the camera high.
    camera = Camera(
        placement=Placement((0, 0, height)), body=Body(width_mm=140, height_mm=100, setback_mm=0)
    )
    seen = self_view(camera, Sheet(width_mm=210, height_mm=148))
    assert (seen.width_mm, seen.height_mm) == pytest.approx((70, 50), rel=1e-12)
    assert seen.share == pytest.approx(70 * 50 / (210 * 148), rel=1e-12)


def test_a_body_off_the_lens_is_seen_off_the_middle():
    camera = Camera(
        placement=Placement((0, 0, 500)),
        body=Body(width_mm=70, height_mm=150, lens_offset_mm=(0, 60), setback_mm=0),
    )
    seen = self_view(camera, Sheet(width_mm=210, height_mm=148))
    assert seen.outline_mm.mean(axis=0) == pytest.approx([0, -30], abs=1e-9)


def test_a_camera_without_body_is_not_seen():
    camera = Camera(placement=Placement((0, 0, 500)), body=None)
    assert self_view(camera, Sheet(width_mm=210, height_mm=148)) is None


@pytest.mark.parametrize(
    ("height", "angle_deg", "keystone_percent", "angle_step", "keystone_step"),
    # Trade figures for A5 and a phone of 75 mm, rounded as printed (common practice,
    # computed).
    [
        (250, 20, 21, 0.5, 0.5),
        (400, 13, 8.5, 0.5, 0.05),
        (600, 8.8, 3.8, 0.05, 0.05),
        (1000, 5.3, 1.4, 0.05, 0.05),
    ],
)
def test_tilt_of_a_phone_over_a5(height, angle_deg, keystone_percent, angle_step, keystone_step):
    way = tilt_out(side_mm=148, body_mm=75, height_mm=height)
    assert math.degrees(way.angle_rad) == pytest.approx(angle_deg, abs=angle_step)
    assert 100 * way.keystone == pytest.approx(keystone_percent, abs=keystone_step)


@pytest.mark.parametrize("height", [250, 400, 600, 1000])
def test_after_the_tilt_the_camera_is_out_of_the_sheet(height):
    sheet = Sheet(width_mm=210, height_mm=148)
    way = tilt_out(side_mm=148, body_mm=75, height_mm=height)

    def share(part):
        camera = Camera(
            placement=Placement((0, -way.shift_mm * part, height)),
            body=Body(width_mm=150, height_mm=75, setback_mm=0),
        )
        return self_view(camera, sheet).share

    assert share(1.0) == pytest.approx(0.0, abs=1e-12)
    assert share(0.9) > 0


def test_the_keystone_is_the_ratio_of_the_projected_edges():
    # Second method: project the near and far edge with the camera itself.
    way = tilt_out(side_mm=148, body_mm=75, height_mm=400)
    camera = Camera(placement=Placement((0, -way.shift_mm, 400)))
    corners = np.array([[-50, -74, 0], [50, -74, 0], [-50, 74, 0], [50, 74, 0.0]])
    cols = camera.project(corners, 4000, 6000)[:, 1]
    assert (cols[1] - cols[0]) / (cols[3] - cols[2]) - 1 == pytest.approx(way.keystone, rel=1e-9)


def test_offset_costs_the_pixels_of_a_larger_distance():
    # Closed form: half the frame must hold shift + half the side.
    way = offset_out(side_mm=100, body_mm=80, height_mm=300, half_angle_tan=0.2, pixels=4000)
    assert way.shift_mm == pytest.approx(70)
    assert way.height_mm == pytest.approx(600)
    assert way.pixels_across == pytest.approx(4000 * 100 / 240)
    assert way.pixels_across_centred == pytest.approx(4000 * 100 / 120)
    assert way.share_left == pytest.approx(0.25)


def test_a_wide_view_loses_nothing_by_the_offset():
    way = offset_out(side_mm=100, body_mm=80, height_mm=900, half_angle_tan=0.5, pixels=4000)
    assert way.height_mm == 900
    assert way.share_left == pytest.approx(1.0)


def test_a_hole_at_the_lens_leaves_half_its_width():
    sheet = Sheet(width_mm=100, height_mm=100)
    way = hole_out(sheet, camera_height_mm=500, card_height_mm=500, lens_opening_mm=12)
    assert (way.hole_mm, way.spot_mm) == pytest.approx((12, 6))
    low = hole_out(sheet, camera_height_mm=500, card_height_mm=400, lens_opening_mm=12)
    # Closed form: the view of the diagonal at 400 of 500 mm is a fifth of it.
    assert low.hole_mm == pytest.approx(math.hypot(100, 100) / 5 + 12)
    assert low.spot_mm == pytest.approx(low.hole_mm * 500 / 900)


def test_the_ways_out_use_the_shorter_side():
    camera = Camera(placement=Placement((0, 0, 600)), body=Body(width_mm=160, height_mm=75))
    wide = ways_out(camera, Sheet(width_mm=210, height_mm=148))
    assert wide.tilt.shift_mm == pytest.approx(148 / 2 + 75 / 4)
    tall = ways_out(camera, Sheet(width_mm=148, height_mm=210))
    assert tall.tilt.shift_mm == pytest.approx(148 / 2 + 160 / 4)


def test_clipping_keeps_the_overlap():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    assert polygon_area(
        clip_to_box(square, np.array([1, -1.0]), np.array([5, 1.0]))
    ) == pytest.approx(1.0)
    assert polygon_area(clip_to_box(square, np.array([3, 3.0]), np.array([5, 5.0]))) == 0.0
