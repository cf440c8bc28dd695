"""Sheets whose sides are not to be seen, found by what is printed on them, or refused."""

import sys
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from lightplan.shots.context import PhotoContext
from lightplan.shots.pipeline import judge_photo, look_at
from lightplan.shots.sheet.by_artwork import Artwork, alike, find_by_artwork
from lightplan.shots.sheet.corners import find_sheet
from lightplan.tasks.photographed import context_of

SLIPPED = Path(__file__).parents[1] / "reference" / "slipped"
sys.path.insert(0, str(SLIPPED))

SIZE = {"width_mm": 105, "height_mm": 148}
BLACK = (0.035, 0.035, 0.037)  # the stock that `photograph` calls black
# Black stock on a table as black, shadows and all: what is seen is the foil.
FAINT = {
    "size_mm": (105, 148),
    "stock": "black",
    "table": "like the paper",
    "hot_spot": False,
    "glare": False,
    "distortion": 0.0,
    "fill": 0.7,
    "jpeg": 92,
    "blur_px": 0.7,
    "exposure": 0.6,
}


def bookplate(words=("EX LIBRIS", "Quill and Fern", "Bindery"), *, inset=0.06, star=9):
    """Artwork (1184, 840): a double frame, a star and words."""
    art = np.zeros((1184, 840), np.uint8)
    for share, thick in ((inset, 12), (inset + 0.025, 4)):
        edge = int(840 * share)
        cv2.rectangle(art, (edge, edge), (839 - edge, 1183 - edge), 255, thick)
    turns = np.arange(2 * star) * np.pi / star
    reach = np.where(np.arange(2 * star) % 2, 90, 190)
    points = np.stack([420 + reach * np.sin(turns), 430 - reach * np.cos(turns)], axis=-1)
    cv2.fillPoly(art, [np.int32(points)], 255, cv2.LINE_AA)
    for i, word in enumerate(words):
        place = (int(840 * inset) + 90, 760 + 130 * i)
        cv2.putText(art, word, place, cv2.FONT_HERSHEY_TRIPLEX, 2.2, 255, 6, cv2.LINE_AA)
    return art.astype(np.float32) / 255


def error(found, shot):
    """Largest distance of a corner from its true place, of the sheet's width."""
    width = np.linalg.norm(shot.corners[1] - shot.corners[0])
    return np.linalg.norm(found.corners - shot.corners, axis=1).max() / width


def test_features_are_matched_as_opencv_matches_them():
    """OpenCV's brute force matcher, and Lowe's ratio, to the last bit."""
    grey = (255 * bookplate()).astype(np.uint8)
    turned = cv2.warpAffine(grey, cv2.getRotationMatrix2D((420, 592), 20, 0.8), (840, 1184))
    detector = cv2.SIFT.create(900)
    (_, asked), (_, told) = (detector.detectAndCompute(one, None) for one in (grey, turned))
    pairs = cv2.BFMatcher().knnMatch(asked, told, k=2)
    kept = [(a.queryIdx, a.trainIdx) for a, b in pairs if a.distance < 0.85 * b.distance]
    assert 100 < len(kept) < len(asked)
    assert list(zip(*alike(asked, told), strict=True)) == kept


@pytest.mark.parametrize("seed", [1, 2, 3, 4, 5])
def test_corners_within_half_a_percent_where_no_side_is_seen(photograph, seed):
    """The agreed limit, any way up: the artwork tells which corner is which."""
    art = bookplate()
    shot = photograph(seed, artwork=art, tilt_deg=4.0 * seed, rows=900, cols=1350, **FAINT)
    found = find_by_artwork(shot.picture, Artwork.of(art, **SIZE))
    assert found
    assert found.how == "artwork"
    assert error(found, shot) <= 0.005
    down = find_by_artwork(np.ascontiguousarray(shot.picture[::-1, ::-1]), Artwork.of(art, **SIZE))
    ends = np.array(shot.picture.shape[:2]) - 1
    assert np.abs(ends - down.corners - shot.corners).max() <= 0.005 * 600


def test_foil_darker_than_its_stock_tells_as_well(photograph):
    art = bookplate()
    shot = photograph(7, artwork=art, rows=900, cols=1350, **FAINT)
    found = find_by_artwork(255 - shot.picture, Artwork.of(art, **SIZE))
    assert found
    assert error(found, shot) <= 0.005


def isoluminant(picture):
    """Return the picture with foil of all colours from red to magenta, as bright as its stock."""
    light = picture.max(axis=2).astype(float)
    low, high = np.quantile(light, [0.2, 0.995])
    foil = np.clip((light - low) / (high - low), 0, 1)[..., None]
    blue = np.linspace(0, 1, len(picture))[:, None]
    hue = np.stack([np.ones_like(blue), np.zeros_like(blue), blue], axis=-1)
    hue = hue * 70 / (hue @ [0.299, 0.587, 0.114])[..., None]
    return np.rint(70 + foil * (hue - 70)).astype(np.uint8)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_coloured_foil_as_bright_as_its_stock_tells_as_well(photograph, seed):
    """Holographic foil runs through all colours: its own brightness vanishes in some of them."""
    art = bookplate()
    shot = photograph(seed, artwork=art, tilt_deg=4.0 * seed, rows=900, cols=1350, **FAINT)
    found = find_by_artwork(isoluminant(shot.picture), Artwork.of(art, **SIZE))
    assert found
    assert error(found, shot) <= 0.005


@pytest.mark.parametrize("seed", range(6))
def test_other_artwork_is_not_taken_for_it(photograph, seed):
    """The same frame about other words and another star is another sheet."""
    here = bookplate()
    other = bookplate(("BASIL", "sow in May", "Thorn Lane"), inset=0.085, star=6)
    shot = photograph(seed, artwork=other, rows=800, cols=1200, **FAINT)
    assert find_by_artwork(shot.picture, Artwork.of(here, **SIZE)) is None


def test_pictures_without_the_sheet_are_refused(astronaut_like):
    assert find_by_artwork(astronaut_like, Artwork.of(bookplate(), **SIZE)) is None
    assert (
        find_by_artwork(np.full((300, 400, 3), 90, np.uint8), Artwork.of(bookplate(), **SIZE))
        is None
    )


@pytest.fixture(scope="module")
def astronaut_like():
    rng = np.random.default_rng(3)
    small = rng.integers(0, 255, (40, 60, 3), np.uint8)
    return cv2.resize(small, (900, 600), interpolation=cv2.INTER_CUBIC)


def test_a_small_mark_does_not_tell_the_corners_of_a_large_sheet(photograph):
    art = np.zeros((1184, 840), np.float32)
    art[560:640, 390:450] = cv2.resize(bookplate(), (60, 80), interpolation=cv2.INTER_AREA)
    shot = photograph(2, artwork=art, rows=900, cols=1350, **FAINT)
    assert find_by_artwork(shot.picture, Artwork.of(art, **SIZE)) is None


def test_a_printed_frame_is_not_judged_as_the_sheet(photograph, tmp_path):
    art = bookplate()
    given = {**FAINT, "look": "plain", "tilt_deg": 10.0, "rows": 900, "cols": 1350}
    shot = photograph(12, artwork=art, **given)
    by_sides = find_sheet(shot.picture, **SIZE)
    assert not by_sides or error(by_sides, shot) > 0.02  # the sides alone do not do
    path = tmp_path / "dark.jpg"
    cv2.imwrite(str(path), shot.picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 92])
    nobody_says = PhotoContext(**SIZE, foil_kind="silver foil", artwork=art.astype(float))
    assert "what the stock is" in judge_photo(path, nobody_says).reasons[0]
    context = replace(nobody_says, stock_reflectance=BLACK)
    judged = judge_photo(path, context)
    assert judged.score is not None, judged.reasons
    assert judged.placed.how == "artwork"
    assert np.abs(np.array(judged.placed.corners) - shot.corners).max() < 0.005 * 500
    other = bookplate(("BASIL", "sow in May", "Thorn Lane"), inset=0.085, star=6)
    wrong = judge_photo(path, PhotoContext(**SIZE, artwork=other.astype(float)))
    assert (wrong.score, wrong.verdict) == (None, "cannot tell")


def test_half_of_holographic_foil_in_the_dark_tells_where_the_plan_has_the_camera():
    """Its edges are too few for any projection, enough for how steeply the plan sees the sheet.

    A photograph of the path tracer, 640 pixels long, a lamp off the plan by 5 degrees.
    """
    from bases import base_rig
    from photographs import chain_of, read_builds, rig_as_built

    build = next(b for b in read_builds() if b.name == "rainbow_fine_03")
    photo = SLIPPED / "photographs" / f"{build.name}.jpg"
    plan, shape = base_rig(build.base), (640, 428)
    looked = look_at(photo, context_of(plan))
    half = np.array([plan.sheet.width_mm, plan.sheet.height_mm]) / 2
    there = np.column_stack([np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half, np.zeros(4)])
    places = rig_as_built(build).camera.project(there, *shape)
    away = places - (np.array(shape) - 1) / 2
    far = (away**2).sum(axis=1, keepdims=True) / (((np.array(shape) - 1) / 2) ** 2).sum()
    true = places - chain_of(build)[0].bending * far * away
    assert looked.sheet.found.how == "artwork"
    assert np.abs(looked.sheet.found.corners - true).max() < 0.01 * 134  # of the sheet's width
    assert not look_at(photo, replace(context_of(plan), expected=None)).sheet
