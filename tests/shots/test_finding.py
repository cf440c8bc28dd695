"""Corners of sheets: light and dark tables, glare, faint edges, bent lines, exact drawings."""

from functools import lru_cache

import cv2
import numpy as np
import pytest

from lightplan.shots.sheet.corners import SheetFound, find_sheet
from lightplan.shots.sheet.naming import named
from lightplan.shots.sheet.outline import bend, fit_outline, straighten
from lightplan.shots.sheet.quads import plane_misfit, shape_misfit, square_to_quad


def error(found, shot):
    """Largest distance of a corner from its true place, of the sheet's width, any way up."""
    width = np.linalg.norm(shot.corners[1] - shot.corners[0])
    away = [np.linalg.norm(found.turned(k).corners - shot.corners, axis=1).max() for k in range(4)]
    return min(away) / width


CASES = {
    "white sheet on a light table": {"stock": "white", "table": "light"},
    "white on almost the same white": {
        "stock": "white",
        "table": "like the paper",
        "distortion": 0,
    },
    "cream sheet on a dark table": {"stock": "cream", "table": "dark"},
    "black sheet on a light table": {"stock": "black", "table": "light"},
    "navy sheet on wood": {"stock": "navy", "table": "wood"},
    "glare that reaches an edge": {"stock": "cream", "table": "grey", "glare": True},
    "strong tilt": {"stock": "white", "table": "grey", "tilt_deg": 35.0},
    "poor file": {"stock": "kraft", "table": "cloth", "jpeg": 50, "noise": 0.008},
    "blurred": {"stock": "navy", "table": "grey", "blur_px": 3.0},
}


@pytest.mark.parametrize("case", CASES, ids=lambda name: name.replace(" ", "-"))
def test_corners_within_half_a_percent_of_the_width(photograph, case):
    given = {"size_mm": (105, 148), "fill": 0.75, "tilt_deg": 15.0, "hot_spot": False} | CASES[case]
    shot = photograph(21, **given)
    found = find_sheet(shot.picture, width_mm=105, height_mm=148)
    assert found, found.reason
    assert error(found, shot) <= 0.005
    assert found.confidence >= 0.7


def test_linear_and_coded_pictures_give_the_same_corners(photograph, to_linear):
    shot = photograph(5, size_mm=(148, 210), stock="white", table="dark", tilt_deg=12.0, jpeg=0)
    coded = find_sheet(shot.picture, width_mm=148, height_mm=210)
    linear = find_sheet(to_linear(shot.picture), width_mm=148, height_mm=210)
    assert np.abs(coded.corners - linear.corners).max() < 0.3


def test_corners_of_a_larger_picture_come_back_in_its_own_pixels(photograph):
    shot = photograph(5, size_mm=(148, 210), stock="white", table="dark", tilt_deg=12.0)
    large = np.repeat(np.repeat(shot.picture, 2, axis=0), 2, axis=1)
    small, big = (find_sheet(p, width_mm=148, height_mm=210) for p in (shot.picture, large))
    assert big.shape == large.shape[:2]
    assert np.abs(big.corners - small.scaled(large.shape[:2]).corners).max() < 1.5


def test_known_focal_length_is_used(photograph):
    shot = photograph(3, size_mm=(85, 55), stock="white", table="dark", tilt_deg=32.0)
    size = {"width_mm": 85, "height_mm": 55}
    right = find_sheet(shot.picture, **size, focal_px=shot.focal_px)
    assert right
    assert error(right, shot) <= 0.005
    assert not find_sheet(shot.picture, **size, focal_px=8 * shot.focal_px)


def test_lens_bending_is_measured(photograph):
    for distortion in (-0.03, 0.03):
        shot = photograph(
            11,
            size_mm=(148, 210),
            stock="white",
            table="dark",
            distortion=distortion,
            tilt_deg=8.0,
            fill=0.9,
        )
        found = find_sheet(shot.picture, width_mm=148, height_mm=210)
        # True: seen = r (1 + k r^2); the finder's model: r = seen / (1 + b seen^2), b = k to
        # first order.
        assert found.bending == pytest.approx(distortion, abs=0.006)
        assert error(found, shot) <= 0.005


def test_bending_and_straightening_undo_each_other():
    points = np.random.default_rng(0).uniform(0, 900, (50, 2))
    for bending in (-0.08, 0.0, 0.08):
        there = straighten(points, bending, (700, 950))
        np.testing.assert_allclose(bend(there, bending, (700, 950)), points, atol=1e-9)


def test_outline_of_exact_bent_lines_gives_exact_corners():
    corners = np.array([[150.0, 120.0], [800.0, 90.0], [850.0, 600.0], [120.0, 560.0]])
    share = np.linspace(0.02, 0.98, 48)[:, None]
    shape = (700, 950)
    sides = [
        bend(a + share * (b - a), 0.02, shape)
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    found, bending = fit_outline(sides, shape, noise_px=0.01)
    np.testing.assert_allclose(bending, 0.02, atol=2e-4)
    np.testing.assert_allclose(found, bend(corners, 0.02, shape), atol=0.02)


def test_homography_of_the_unit_square_hits_the_corners():
    quads = np.random.default_rng(2).uniform(-20, 20, (40, 4, 2))
    quads += np.array([[0, 0], [200, 0], [200, 100], [0, 100]])
    square = np.array([[0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1.0]])
    seen = square @ square_to_quad(quads).transpose(0, 2, 1)
    np.testing.assert_allclose(seen[..., :2] / seen[..., 2:], quads, atol=1e-9)


def test_shape_misfit_is_nothing_for_a_true_view_and_large_for_others(photograph):
    shot = photograph(17, size_mm=(85, 55), distortion=0.0, tilt_deg=30.0, rows=300, cols=450)
    corners = shot.corners[None, :, ::-1]
    true = shape_misfit(corners, (300, 450), width_mm=85, height_mm=55, focal_px=shot.focal_px)
    assert true[0] < 1e-6
    any_lens = shape_misfit(corners, (300, 450), width_mm=85, height_mm=55)
    assert any_lens[0] < 0.005
    wrong = shape_misfit(corners, (300, 450), width_mm=85, height_mm=70, focal_px=shot.focal_px)
    assert wrong[0] == pytest.approx(np.log(70 / 55), rel=0.05)


def test_plane_misfit_measures_size_on_a_known_plane():
    plane = np.array([[2.0, 0.1, 30], [-0.2, 1.9, 50], [1e-4, 2e-4, 1]])
    box = np.array([[10, 10, 1], [115, 10, 1], [115, 158, 1], [10, 158, 1.0]]) @ plane.T
    corners = (box[:, :2] / box[:, 2:])[None]
    assert plane_misfit(corners, plane, width_mm=105, height_mm=148)[0] < 1e-9
    assert plane_misfit(corners, plane, width_mm=100, height_mm=148)[0] == pytest.approx(
        np.log(1.05) / np.sqrt(2), rel=1e-6
    )


FRAME_MM = 2.5
"""From the sheet's edge to a frame of foil."""


@lru_cache(maxsize=1)
def framed_tag():
    """Draw a green tag on a brown table, with a frame of gold that runs from bright to dark.

    50 x 90 mm in 12 megapixels; no source: drawn in straight perspective.
    """
    corners = np.array([[1584.0, 803.0], [2414.8, 803.0], [2534.8, 2123.2], [1464.2, 2123.2]])
    size = np.array([[0, 0], [50, 0], [50, 90], [0, 90]], np.float32)
    to_picture = cv2.getPerspectiveTransform(size, corners.astype(np.float32))
    rows, columns = np.linspace(0, 1, 3000)[:, None, None], np.linspace(0, 1, 4000)[None, :, None]
    picture = (0.85 + 0.3 * columns) * np.array([100.0, 115, 125]) + 0 * rows
    gold = np.clip(1.5 - 2 * rows, 0.15, 1) * np.array([106.0, 200, 232]) + 0 * columns
    green = np.array([41.0, 56, 34])
    for inset, colour in ((0, green), (FRAME_MM, gold), (FRAME_MM + 0.9, green)):
        inner = size + inset * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
        at = cv2.perspectiveTransform(inner[None].astype(np.float32), to_picture)[0]
        mask = np.zeros(picture.shape[:2], np.uint8)
        cv2.fillConvexPoly(mask, np.rint(at * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
        share = mask[..., None] / 255
        picture = (1 - share) * picture + share * colour
    soft = cv2.GaussianBlur(picture, (0, 0), 1.5)
    return np.clip(soft + np.random.default_rng(1).integers(-3, 4, soft.shape), 0, 255).astype(
        np.uint8
    ), corners


@pytest.mark.parametrize("columns", [4000, 1500, 1000])
def test_a_bright_frame_close_to_the_edge_does_not_hide_it(columns):
    picture, corners = framed_tag()
    size = (columns, columns * 3 // 4)
    found = find_sheet(
        cv2.resize(picture, size, interpolation=cv2.INTER_AREA), width_mm=50, height_mm=90
    )
    assert isinstance(found, SheetFound)
    assert found.scaled((3000, 4000)).corners[:, ::-1] == pytest.approx(corners, abs=4.0)


@pytest.mark.parametrize("turned_deg", [-70, -50, -20, 0, 20, 50, 70])
def test_a_sheet_is_named_as_upright_as_its_proportions_allow(turned_deg):
    """A rectangle 90 x 120 turned on the screen, worked by hand: by less than 90 degrees."""
    turn = np.radians(turned_deg)
    turning = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = np.array([[-45, -60], [45, -60], [45, 60], [-45, 60]]) @ turning.T + [300, 200]
    size = {"width_mm": 90.0, "height_mm": 120.0}
    for start in range(4):
        rough = np.roll(corners, start, axis=0)[None]
        found, misfit = named(rough, lambda quads: plane_misfit(quads, np.eye(3), **size))
        np.testing.assert_allclose(found[0], corners, atol=1e-9)
        assert misfit[0] < 1e-9
