"""What a leaning camera costs, against the picture that the camera model itself projects."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.scene import Camera, Placement, Sheet
from lightplan.scene.framing import framing
from lightplan.scene.holding import usually_held
from lightplan.words.leaning import SMALL, keystone, keystone_words, small_words

SHEET = Sheet(width_mm=148, height_mm=105)
PHONE = Camera(placement=Placement((0, -70, 150)), focal_length_mm=26)


def drawn(camera, ends):
    rows, cols = 3000, 4000
    places = camera.project(np.array([[*end, 0.0] for end in ends]), rows, cols)
    return float(np.linalg.norm(places[0] - places[1]))


@pytest.mark.parametrize("place", [(0, -300, 520), (0, -100, 600), (0, 250, 400)])
def test_edges_are_drawn_as_much_larger_as_is_told(place):
    camera = Camera(placement=Placement(place))
    half = np.array([SHEET.width_mm, SHEET.height_mm]) / 2
    near = drawn(camera, [(-half[0], -half[1]), (half[0], -half[1])])
    far = drawn(camera, [(-half[0], half[1]), (half[0], half[1])])
    larger, smaller, share = keystone(camera, SHEET)
    assert {larger, smaller} == {"near", "far"}
    assert share == pytest.approx(max(near / far, far / near) - 1, abs=1e-6)
    assert (larger == "near") == (near > far)


def test_a_camera_that_leans_sideways_names_the_sides():
    words = keystone_words(Camera(placement=Placement((300, 0, 500))), SHEET)
    assert "the right edge is drawn" in words


def test_one_that_looks_straight_down_costs_nothing():
    assert keystone_words(Camera(placement=Placement((20, 0, 600), (20, 0, 0))), SHEET) == ""


def test_a_sheet_that_is_small_in_the_frame_is_told_with_what_to_do():
    tag = Sheet(width_mm=40, height_mm=60)
    filled = framing(PHONE, tag).filled
    assert filled < SMALL
    assert f"only {100 * filled:.0f} % of the frame" in small_words(PHONE, tag)
    assert "crop" in small_words(PHONE, tag)
    nearer = replace(PHONE, placement=Placement((0, -40, 86)))
    assert framing(nearer, tag).filled >= SMALL
    assert small_words(nearer, tag) == ""


def test_of_a_camera_that_stays_where_it_is_only_what_can_be_done_is_told():
    tag = Sheet(width_mm=40, height_mm=60)
    told = small_words(replace(PHONE, locked=True), tag)
    assert told.endswith(": crop to the sheet afterwards, which loses nothing")
    assert "nearer" not in told


def test_what_keeps_a_camera_from_going_nearer_is_named_where_that_is_known():
    tag = Sheet(width_mm=20, height_mm=30)
    far = replace(PHONE, placement=Placement((0, -80, 230)))
    assert "focus" not in small_words(far, tag)
    assert "from nearer it would span more" in small_words(far, tag)
    near = replace(PHONE, placement=Placement((0, -60, 130)))
    assert "the lens may not focus" in small_words(near, tag)
    held = replace(usually_held("tripod"), lowest_mm=229.0)
    assert "goes no lower" in small_words(replace(far, held=held), tag)
    assert "goes no lower" in small_words(
        replace(far, held=held, placement=Placement((0, -80, 235))), tag
    )
    higher = replace(far, held=held, placement=Placement((0, -80, 300)))
    assert "goes no lower" not in small_words(higher, tag)
