"""What is not the sheet is refused with a reason, never guessed."""

from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data

from lightplan.errors import PhotoError
from lightplan.shots.sheet.candidates import OutlineView
from lightplan.shots.sheet.corners import SheetFound, SheetNotFound, corners_by_hand, find_sheet

SIZES = ((148, 210), (85, 55), (60, 60))
PHOTOS = Path(__file__).parents[2] / ".." / "shared" / "photos"
PICTURES = ("coins", "page", "text", "camera", "brick", "astronaut", "coffee", "rocket", "clock")


@pytest.fixture(autouse=True)
def edges_found_once(monkeypatch):
    """Straight edges hang on the picture alone: found once for all the sizes that are sought."""
    find, known = OutlineView.straight_edges_of, {}

    def found(view, grey):
        key = tuple(picture.tobytes() for picture in (view.coded, *grey))
        if key not in known:
            known[key] = find(view, grey)
        return known[key]

    monkeypatch.setattr(OutlineView, "straight_edges_of", found)


def colour(picture):
    return picture if picture.ndim == 3 else np.repeat(picture[..., None], 3, axis=2)


@pytest.mark.parametrize("name", PICTURES)
def test_pictures_without_a_sheet(name):
    picture = colour(getattr(skimage.data, name)())[..., :3]
    for width_mm, height_mm in SIZES:
        found = find_sheet(picture, width_mm=width_mm, height_mm=height_mm)
        assert isinstance(found, SheetNotFound)
        assert not found
        assert found.reason.endswith(".")


@pytest.mark.parametrize("level", [0, 128, 255])
def test_blank_picture_says_so(level):
    picture = np.full((400, 600, 3), level, np.uint8)
    found = find_sheet(picture, width_mm=148, height_mm=210)
    assert not found
    assert "blank" in found.reason


def test_noise_and_a_smooth_ramp_hold_no_sheet():
    noise = np.random.default_rng(1).integers(0, 256, (400, 600, 3), dtype=np.uint8)
    ramp = np.linspace(0, 255, 600).astype(np.uint8)[None, :, None].repeat(400, 0).repeat(3, 2)
    for picture in (noise, ramp):
        for width_mm, height_mm in SIZES:
            assert not find_sheet(picture, width_mm=width_mm, height_mm=height_mm)


def test_chessboard_is_not_a_sheet():
    board = (
        np.kron(np.indices((8, 8)).sum(axis=0) % 2, np.ones((60, 60))).astype(np.uint8) * 200 + 20
    )
    picture = colour(cv2.copyMakeBorder(board, 80, 80, 200, 200, cv2.BORDER_CONSTANT, value=90))
    assert not find_sheet(picture, width_mm=148, height_mm=210)


@pytest.mark.parametrize("shift", [(0.45, 0.0), (-0.45, 0.0), (0.0, 0.5), (0.0, -0.5)])
def test_sheet_cut_by_the_frame_is_refused(photograph, shift):
    shot = photograph(
        7,
        size_mm=(148, 210),
        stock="cream",
        table="dark",
        fill=0.8,
        shift=shift,
        tilt_deg=5.0,
        rows=600,
        cols=900,
    )
    outside = (shot.corners < 0) | (shot.corners >= (600, 900))
    assert outside.any()
    found = find_sheet(shot.picture, width_mm=148, height_mm=210)
    assert not found
    assert "frame" in found.reason


def test_another_size_is_refused(photograph):
    shot = photograph(9, size_mm=(85, 55), stock="white", table="dark", tilt_deg=10.0)
    assert find_sheet(shot.picture, width_mm=85, height_mm=55)
    assert not find_sheet(shot.picture, width_mm=85, height_mm=85)
    assert not find_sheet(shot.picture, width_mm=160, height_mm=50)


def test_corners_by_hand_are_kept_or_refused():
    corners = [[10, 20], [12, 300], [200, 310], [190, 15]]
    found = corners_by_hand(corners, (240, 320))
    assert isinstance(found, SheetFound)
    np.testing.assert_array_equal(found.corners, corners)
    assert (found.how, found.confidence) == ("by hand", 1.0)
    for wrong in (corners[::-1], corners[:3], [[0, 0], [1, 1], [2, 2], [3, 3]]):
        with pytest.raises(PhotoError, match=r"corners must be four corners \(row, column\)"):
            corners_by_hand(wrong, (240, 320))


@pytest.mark.skipif(not PHOTOS.exists(), reason="the shared photographs are not here")
def test_shared_photographs_without_a_sheet_are_refused():
    names = ["coins/skimage_coins.png", "colour_chart/macduff/below_fishbox.jpg"]
    names += [f"chrome_sphere/psbox/LightProbe-1/Image_{i:02d}.JPG" for i in (1, 6, 12)]
    for name in names:
        picture = cv2.imread(str(PHOTOS / name))[..., ::-1]
        for width_mm, height_mm in SIZES:
            assert not find_sheet(picture, width_mm=width_mm, height_mm=height_mm), name
