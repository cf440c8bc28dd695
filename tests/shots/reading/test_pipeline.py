"""From file to verdict on rendered photographs whose truth is known."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from lightplan.errors import PhotoError
from lightplan.scene.look import Look
from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.transfer import srgb
from lightplan.shots.pipeline import PhotoJudge, judge_photo, with_neighbour
from lightplan.shots.results import PhotoScore
from lightplan.shots.sets.batch import score_batch
from lightplan.shots.sheet.corners import corners_by_hand
from lightplan.shots.sheet.exact import clipped_shares
from lightplan.shots.shot import Shot

if TYPE_CHECKING:
    from pathlib import Path


def write(path: Path, picture: np.ndarray, quality: int = 95) -> Path:
    cv2.imwrite(str(path), picture[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    return path


def context_of(render, **changes) -> PhotoContext:
    base = PhotoContext(
        width_mm=render.width_mm,
        height_mm=render.height_mm,
        foil_kind="silver foil",
        artwork=render.artwork.astype(float),
    )
    return replace(base, **changes)


EASY = {
    "stock": "white",
    "table": "dark",
    "size_mm": (148, 105),
    "glare": False,
    "noise": 0.002,
    "blur_px": 0.6,
    "distortion": 0.0,
    "fill": 0.8,
    "tilt_deg": 12,
    "foil_kind": "silver foil",
    "rows": 700,
    "cols": 1050,
}


@pytest.fixture(scope="module")
def easy(photograph):
    large = {**EASY, "rows": 1000, "cols": 1500}
    return photograph(5, jpeg=0, hot_spot=True, exposure=0.9, **large)


@pytest.mark.parametrize("seed", [6, 8, 11])
def test_clipped_share_of_a_lossless_file_is_that_of_its_pixels(tmp_path, photograph, seed):
    shot = photograph(seed, jpeg=0, hot_spot=True, exposure=1.5, **EASY)
    result = judge_photo(write(tmp_path / "a.png", shot.picture), context_of(shot))
    over = (shot.picture == 255).any(axis=2)
    wanted = float(over[shot.foil >= 0.5].mean())
    assert wanted > 0.02
    # pixels are counted exactly; what is left is the mask, a part of a pixel along foil edges
    assert result.measures["foil_clipped_share"][0] == pytest.approx(wanted, abs=0.003)


def test_jpeg_and_lossless_files_of_one_photograph_agree(tmp_path, easy):
    plain = judge_photo(write(tmp_path / "a.png", easy.picture), context_of(easy))
    lossy = judge_photo(write(tmp_path / "a.jpg", easy.picture), context_of(easy))
    assert plain.score == pytest.approx(lossy.score, abs=3)
    for name in ("foil_evenness_stops", "foil_to_paper_stops"):
        assert plain.value(name) == pytest.approx(lossy.value(name), abs=0.05)
    for name in ("foil_clipped_share", "foil_near_clipped_share"):
        assert plain.value(name) == pytest.approx(lossy.value(name), abs=0.02)


def test_the_corners_are_told_in_pixels_of_the_file(tmp_path, easy):
    result = judge_photo(write(tmp_path / "a.jpg", easy.picture), context_of(easy))
    # 0.5 % of the sheet's width, the agreed limit
    limit = 0.005 * np.linalg.norm(easy.corners[1] - easy.corners[0])
    assert np.abs(np.array(result.placed.corners) - easy.corners).max() < limit
    assert (result.placed.rows, result.placed.cols) == easy.picture.shape[:2]


def test_a_large_jpeg_is_judged_as_a_small_one_is(tmp_path, easy):
    large = cv2.resize(easy.picture, (6000, 4000), interpolation=cv2.INTER_CUBIC)
    one = judge_photo(write(tmp_path / "large.jpg", large), context_of(easy))
    two = judge_photo(write(tmp_path / "small.jpg", easy.picture), context_of(easy))
    assert (one.reduction, two.reduction) == (2, 1)
    assert one.placed.cols == 6000
    scale = 6000 / easy.picture.shape[1]
    assert np.abs(np.array(one.placed.corners) / scale - np.array(two.placed.corners)).max() < 1.5
    for name in ("foil_evenness_stops", "foil_to_paper_stops", "brightest_level_stops"):
        assert one.value(name) == pytest.approx(two.value(name), abs=0.05)
    assert one.value("paper_cast_Cab") == pytest.approx(two.value("paper_cast_Cab"), abs=0.5)


def test_sharpness_falls_with_blur(tmp_path, photograph):
    resolved = []
    for blur in (0.5, 1.0, 1.8, 3.0):
        shot = photograph(5, jpeg=0, hot_spot=False, **{**EASY, "blur_px": blur})
        result = judge_photo(write(tmp_path / f"{blur}.png", shot.picture), context_of(shot))
        resolved.append(result.value("sharpness_resolved_count"))
    assert resolved == sorted(resolved, reverse=True)
    # a Gaussian edge rises from 10 to 90 % over 2.563 s; the pixel's own width adds to s
    rise = result.value("sharpness_edge_rise_px")
    assert rise == pytest.approx(2.563 * np.hypot(3.0, 0.35), rel=0.12)


def test_quick_and_full_give_one_score_and_full_lists_the_hot_spot(tmp_path, easy):
    path = write(tmp_path / "a.png", easy.picture)
    quick = judge_photo(path, context_of(easy))
    full = judge_photo(path, context_of(easy, detail="full"))
    assert (quick.score, quick.measures) == (full.score, full.measures)
    assert "hot_spots" not in quick.details
    assert full.details["hot_spots"]
    x, y, _ = easy.hot_spot
    nearest = min(
        np.hypot(s["where_mm"][0] - x, s["where_mm"][1] - y) for s in full.details["hot_spots"]
    )
    assert nearest < 0.1 * easy.height_mm  # the spot is cut by the artwork: its middle moves


def test_judging_twice_gives_the_same_numbers(tmp_path, easy):
    path = write(tmp_path / "a.jpg", easy.picture)
    one, two = (judge_photo(path, context_of(easy)) for _ in range(2))
    assert replace(one, seconds=0.0) == replace(two, seconds=0.0)


@pytest.mark.parametrize("by_look", [False, True])
def test_a_neighbour_changes_the_time_and_not_the_verdict(tmp_path, photograph, by_look):
    shots = [photograph(5, jpeg=0, hot_spot=False, exposure=e, **EASY) for e in (0.8, 0.7)]
    paths = [write(tmp_path / f"{i}.jpg", s.picture) for i, s in enumerate(shots)]
    context = context_of(shots[0], **({"artwork": None} if by_look else {}))
    helped = with_neighbour(context, paths)
    assert helped.near is not None
    # A result by a neighbour is not quite one without: a second run must not mix them.
    assert helped.digest() != context.digest()
    assert with_neighbour(context, paths).digest() == helped.digest()
    assert with_neighbour(context, paths[1:]).digest() != helped.digest()
    for path in paths:
        alone, together = judge_photo(path, context), judge_photo(path, helped)
        assert together.score == pytest.approx(alone.score, abs=1.5)
        assert together.verdict == alone.verdict
        away = np.array(alone.placed.corners) - np.array(together.placed.corners)
        assert np.abs(away).max() < 1.0


def test_a_neighbour_that_does_not_fit_is_left(tmp_path, photograph):
    here = photograph(5, jpeg=0, hot_spot=False, **EASY)
    elsewhere = photograph(9, jpeg=0, hot_spot=False, **EASY)
    first = write(tmp_path / "first.jpg", here.picture)
    moved = write(tmp_path / "moved.jpg", elsewhere.picture)
    helped = with_neighbour(context_of(here), [first])
    context = replace(context_of(elsewhere), near=helped.near)
    alone, together = judge_photo(moved, context_of(elsewhere)), judge_photo(moved, context)
    assert replace(alone, seconds=0.0) == replace(together, seconds=0.0)


def test_a_photograph_without_a_sheet_is_a_result(tmp_path, astronaut):
    result = judge_photo(
        write(tmp_path / "portrait.png", astronaut), PhotoContext(width_mm=148, height_mm=105)
    )
    assert (result.score, result.verdict, result.error) == (None, "cannot tell", None)
    assert result.placed is None
    assert "corners by hand" in result.reasons[0]


def test_corners_by_hand_are_used(tmp_path, easy):
    path = write(tmp_path / "hand.png", easy.picture)
    plain = judge_photo(path, context_of(easy))
    by_hand = judge_photo(path, context_of(easy, corners={"hand.png": easy.corners}))
    assert by_hand.placed.how == "by hand"
    assert by_hand.score == pytest.approx(plain.score, abs=2)


def test_a_sheet_upside_down_is_turned_by_its_artwork(tmp_path, easy):
    upright = judge_photo(write(tmp_path / "up.png", easy.picture), context_of(easy))
    turned = judge_photo(
        write(tmp_path / "down.png", np.ascontiguousarray(easy.picture[::-1, ::-1])),
        context_of(easy),
    )
    assert turned.score == pytest.approx(upright.score, abs=1.5)
    far_left = np.array(turned.placed.corners[0])
    size = np.array(easy.picture.shape[:2]) - 1
    assert np.abs(size - far_left - easy.corners[0]).max() < 3


def test_refusals_are_results_where_asked(tmp_path):
    path = tmp_path / "broken.jpg"
    path.write_bytes(b"\xff\xd8")
    context = PhotoContext(width_mm=148, height_mm=105)
    with pytest.raises(PhotoError, match=r"^broken\.jpg: "):
        judge_photo(path, context)


def test_the_batch_judges_photographs_and_gives_typed_results(tmp_path, easy):
    folder = tmp_path / "in"
    folder.mkdir()
    good = write(folder / "good.jpg", easy.picture)
    (folder / "broken.jpg").write_bytes(b"\xff\xd8")
    judge = PhotoJudge(context_of(easy))
    outcomes = {
        o.file: o for o in score_batch([good, folder / "broken.jpg"], judge, out_dir=tmp_path / "o")
    }
    there = PhotoScore.from_dict(outcomes["good.jpg"].result)
    here = judge_photo(good, context_of(easy))
    assert replace(there, seconds=0.0) == replace(here, seconds=0.0)
    assert outcomes["broken.jpg"].error.startswith("broken.jpg: the file must be")


def test_the_digest_names_everything_a_result_depends_on():
    base = PhotoContext(width_mm=148, height_mm=105)
    others = [
        replace(base, width_mm=149),
        replace(base, height_mm=99),
        replace(base, detail="full"),
        replace(base, look=Look(kind="gradient")),
        replace(base, foil_kind="gold foil"),
        replace(base, stock_reflectance=(0.1, 0.1, 0.1)),
        replace(base, artwork=np.ones((4, 4))),
        replace(base, artwork=np.ones((2, 8))),
        replace(base, corners={"a.jpg": np.eye(4, 2)}),
    ]
    digests = {one.digest() for one in [base, *others]}
    assert len(digests) == len(others) + 1
    assert replace(base).digest() == base.digest()


def test_pixels_are_counted_exactly_where_the_mask_is_known(photograph):
    shot = photograph(8, jpeg=0, hot_spot=True, exposure=1.5, **EASY)
    picture = Shot(
        file="a.png",
        format="PNG",
        encoded=shot.picture,
        transfer=srgb(256),
        clip_at=255,
        file_rows=shot.picture.shape[0],
        file_cols=shot.picture.shape[1],
    )
    found = corners_by_hand(shot.corners, shot.picture.shape[:2])
    foil = np.ascontiguousarray(shot.artwork, np.float32)
    told = clipped_shares(picture, found, foil, np.ones(foil.shape, bool), confidence=1.0)
    inside = shot.foil >= 0.5
    for i, channel in enumerate(("red", "green", "blue")):
        wanted = (shot.picture[..., i] == 255)[inside].mean()
        assert told[f"foil_clipped_{channel}_share"][0] == pytest.approx(wanted, abs=5e-4)
    wanted = (shot.picture == 255).all(axis=2)[inside].mean()
    assert told["foil_clipped_all_share"][0] == pytest.approx(wanted, abs=5e-4)


def test_artwork_that_does_not_fit_is_named_as_the_reason(tmp_path, easy):
    other = np.zeros_like(easy.artwork, dtype=float)
    other[100:130, 60:500] = other[600:620, 300:900] = 1.0
    result = judge_photo(write(tmp_path / "a.png", easy.picture), context_of(easy, artwork=other))
    assert result.verdict == "cannot tell"
    assert "artwork does not fit" in " ".join(result.reasons)
    assert "give the foil artwork" not in " ".join(result.reasons)
