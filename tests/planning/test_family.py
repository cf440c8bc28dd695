"""The family of angles against closed forms and the trade's own figures."""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from plain_questions import covered_share

from lightplan.mirror.family import (
    NO_MARGINS,
    Margins,
    bow_swing,
    card_side,
    family_on_plane,
    lobe_half_width,
    mirror_plane,
)
from lightplan.scene import Camera, Card, Flatness, Foil, Hole, Placement, Sheet


def overhead(height_mm):
    return Camera(placement=Placement((0, 0, height_mm)))


def level(height_mm):
    return Placement((0, 0, height_mm))


# Closed form: an image of W x H traced to a plane at height c is scaled by (h + c) / h.
@pytest.mark.parametrize(
    ("sheet", "camera", "card", "covered"),
    [
        ((297, 210), 1000, 600, (475.2, 336.0)),
        ((297, 210), 1000, 1000, (594.0, 420.0)),
        ((420, 297), 800, 400, (630.0, 445.5)),
        ((210, 148), 500, 300, (336.0, 236.8)),
        ((210, 148), 300, 300, (420.0, 296.0)),
    ],
)
def test_card_rule_from_above(sheet, camera, card, covered):
    seen = family_on_plane(
        overhead(camera),
        Sheet(width_mm=sheet[0], height_mm=sheet[1]),
        level(card),
        margins=NO_MARGINS,
    )
    assert (seen.width_mm, seen.height_mm) == pytest.approx(covered, rel=1e-9)
    assert card_side(sheet[0], camera_distance_mm=camera, card_distance_mm=card) == pytest.approx(
        covered[0]
    )


def test_a_tilted_view_follows_the_mirrored_lens():
    # Second method: the mirror image of the lens (z negated) seen through the sheet's
    # corners, intersected with the plane by hand (closed form).
    camera = Camera(placement=Placement((60, -260, 400)))
    sheet = Sheet(width_mm=148, height_mm=105)
    plane = mirror_plane(camera, sheet, 350)
    seen = family_on_plane(camera, sheet, plane, margins=NO_MARGINS)
    image = np.array([60, -260, -400.0])
    right, up, normal = plane.axes()
    corners = np.array([[x, y, 0.0] for x in (-74, 74) for y in (-52.5, 52.5)])
    way = corners - image
    share = ((np.array(plane.position_mm) - image) @ normal) / (way @ normal)
    places = image + share[:, None] * way - plane.position_mm
    expected = np.stack([places @ right, places @ up], axis=-1)
    assert np.ptp(expected, axis=0) == pytest.approx([seen.width_mm, seen.height_mm], rel=1e-9)
    for corner in expected:
        assert np.abs(seen.seen_mm - corner).sum(axis=1).min() < 1e-6


def test_setting_errors_double():
    # Common practice: 1 degree of tilt swings the reflection 2 degrees, 10.5 mm of card
    # at 300 mm (computed, 300 tan 2 degrees); it holds at the middle of the sheet.
    sheet = Sheet(width_mm=5, height_mm=5)
    seen = family_on_plane(
        overhead(1e6),
        sheet,
        level(300),
        margins=Margins(tilt_rad=math.radians(1), position_mm=0, lobe=False),
    )
    assert seen.setting_margin_mm == pytest.approx(300 * math.tan(math.radians(2)), rel=1e-3)
    assert seen.setting_margin_mm == pytest.approx(10.5, abs=0.05)


def test_a_bow_swings_the_edge():
    # Common practice: 1 mm of bow over 148 mm swings the ray 3.1 degrees at the edge,
    # 16 mm more card each side at 300 mm (computed).
    sheet = Sheet(width_mm=148, height_mm=105, flatness=Flatness(bow_rad=0))
    assert 2 * math.degrees(bow_swing(sheet, 1.0)) == pytest.approx(3.1, abs=0.05)
    assert 300 * math.tan(2 * bow_swing(sheet, 1.0)) == pytest.approx(16, abs=0.5)
    bowed = Sheet(width_mm=148, height_mm=105, flatness=Flatness(bow_mm=1.0, bow_rad=0))
    flat = family_on_plane(overhead(1e6), sheet, level(300), margins=NO_MARGINS)
    seen = family_on_plane(overhead(1e6), bowed, level(300), margins=NO_MARGINS)
    assert (seen.width_mm - flat.width_mm) / 2 == pytest.approx(16.2, abs=0.2)
    assert seen.height_mm == pytest.approx(flat.height_mm, abs=0.1)


@pytest.mark.parametrize(
    ("alpha", "spread_deg"),
    # HWHM of the GGX distribution doubled (Walter et al., EGSR 2007), table computed
    # from D(theta).
    [(0.02, 1.475), (0.05, 3.693), (0.1, 7.417), (0.2, 15.098), (0.5, 43.626)],
)
def test_lobe_width_is_that_of_ggx(alpha, spread_deg):
    foil = Foil(roughness=(alpha, alpha / 2))
    assert 2 * math.degrees(lobe_half_width(foil)) == pytest.approx(spread_deg, abs=6e-4)


def test_no_foil_asks_for_more_than_a_wide_lobe():
    assert lobe_half_width(Foil(roughness=(1.0, 1.0))) == pytest.approx(math.radians(30))


@settings(max_examples=40, deadline=None)
@given(
    x=st.floats(-300, 300),
    y=st.floats(-500, -50),
    z=st.floats(250, 900),
    distance=st.floats(150, 700),
    bow=st.floats(-2, 2),
)
@example(x=14.0, y=-490.0, z=250.0, distance=150.0, bow=0.625)  # sees farthest off the corners
def test_the_smallest_card_covers_the_sheet_and_a_smaller_one_does_not(x, y, z, distance, bow):
    camera = Camera(placement=Placement((x, y, z)))
    sheet = Sheet(width_mm=140, height_mm=90, flatness=Flatness(bow_mm=bow))
    plane = mirror_plane(camera, sheet, distance)
    seen = family_on_plane(camera, sheet, plane, margins=NO_MARGINS)
    if seen is None:
        return
    card = Card(
        name="card",
        placement=seen.card,
        width_mm=seen.width_mm * 1.0005,
        height_mm=seen.height_mm * 1.0005,
    )
    assert covered_share(camera, sheet, card) == 1.0
    small = Card(
        name="card", placement=seen.card, width_mm=seen.width_mm * 0.9, height_mm=seen.height_mm
    )
    assert covered_share(camera, sheet, small) < 1.0


def test_margins_cover_what_they_promise():
    camera = Camera(placement=Placement((0, -250, 400)))
    sheet = Sheet(width_mm=140, height_mm=90)
    plane = mirror_plane(camera, sheet, 300)
    tilt = math.radians(1.0)
    seen = family_on_plane(
        camera, sheet, plane, margins=Margins(tilt_rad=tilt, position_mm=0, lobe=False)
    )
    card = Card(name="card", placement=seen.card, width_mm=seen.width_mm, height_mm=seen.height_mm)
    assert covered_share(camera, sheet, card, swing_rad=tilt * 0.999) == 1.0
    assert covered_share(camera, sheet, card, swing_rad=tilt * 1.5) < 1.0
    bare = family_on_plane(camera, sheet, plane, margins=NO_MARGINS)
    assert seen.width_mm > bare.width_mm == pytest.approx(seen.bare_width_mm)


def test_a_plane_behind_the_sheet_is_no_place_for_a_card():
    camera = overhead(500)
    sheet = Sheet(width_mm=100, height_mm=100)
    assert family_on_plane(camera, sheet, Placement((0, 0, -100), (0, 0, 0))) is None


def test_a_hole_is_not_covered():
    camera = overhead(400)
    sheet = Sheet(width_mm=100, height_mm=100)
    card = Card(
        name="card", placement=level(400), width_mm=600, height_mm=600, hole=Hole(diameter_mm=100)
    )
    # The foil mirrors a hole at the lens at half its size: a disk of 50 mm (closed form),
    # counted on a lattice of 17 x 17 points, 6.25 mm apart.
    points = 17**2 * (1 - covered_share(camera, sheet, card))
    assert points * 6.25**2 == pytest.approx(math.pi / 4 * 50**2, rel=0.12)
