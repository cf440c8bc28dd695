"""A photograph with the marker card in it: corners, light and size from the card."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from lightplan.optics.colour import linear_srgb_to_lab
from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.pipeline import judge_photo, with_neighbour
from lightplan.shots.sets.consistency import find_flags
from lightplan.shots.sheet.carded import card_in, card_light, size_on_card
from lightplan.shots.sheet.location import find_in_shot
from lightplan.tasks.score import score_photos

GIVEN = {
    "size_mm": (105, 148),
    "table": "like the paper",
    "fill": 0.42,
    "tilt_deg": 20.0,
    "distortion": 0.0,
    "hot_spot": False,
    "glare": False,
    "rows": 1000,
    "cols": 1500,
    "noise": 0.003,
    "jpeg": 0,
    "look": "plain",
}


@pytest.fixture(scope="module")
def frame(photograph, printed, tmp_path_factory):
    """Write a sheet on the card; returns (render, path)."""
    folder = tmp_path_factory.mktemp("carded")

    def write(seed=50, **changes):
        given = {"stock": "white", "exposure": 0.8, **GIVEN, **changes}
        shot = photograph(seed, under=(printed, 210.0, 297.0), **given)
        path = folder / f"{seed}_{'_'.join(map(str, changes.values()))}.png"
        cv2.imwrite(str(path), shot.picture[..., ::-1])
        return shot, path

    return write


def context_of(shot, **changes):
    base = PhotoContext(
        width_mm=shot.width_mm, height_mm=shot.height_mm, artwork=shot.artwork.astype(float)
    )
    return replace(base, **changes)


def test_the_card_shown_by_the_first_frame_is_used_in_all(frame):
    shot, path = frame()
    told = with_neighbour(context_of(shot), [path])
    assert told.card
    assert told.digest() != context_of(shot).digest()  # the figures depend on it
    judged = judge_photo(path, replace(told, near=None))
    assert judged.score is not None, judged.reasons
    assert judged.placed.how == "marker card"
    width = np.linalg.norm(shot.corners[1] - shot.corners[0])
    assert np.abs(np.array(judged.placed.corners) - shot.corners).max() <= 0.005 * width
    assert judged.details["marker_card"]["paper"] == "A4"


def test_frames_without_a_card_are_not_asked_for_one(photograph, tmp_path):
    shot = photograph(5, stock="white", exposure=0.8, **{**GIVEN, "table": "dark"})
    path = tmp_path / "plain.png"
    cv2.imwrite(str(path), shot.picture[..., ::-1])
    told = with_neighbour(context_of(shot), [path])
    assert not told.card
    assert replace(told, near=None).digest() == context_of(shot).digest()
    assert judge_photo(path, told).card_level is None


def test_the_card_refuses_a_sheet_of_another_size(frame):
    """Proportions alone would do for one half as large again."""
    shot, path = frame()
    context = context_of(shot, width_mm=157.5, height_mm=222.0, card=True, artwork=None)
    assert judge_photo(path, context).score is None


def test_the_middle_grey_is_read_out_of_the_light(frame):
    """The patch of L* 50 reflects 0.184 (CIE 15); the light of the frame is what is left."""
    shot, path = frame()
    read = read_shot(path)
    light = card_light(read, card_in(read))
    box = light.card.layout.patches()[3]
    middle = np.array([[box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2]])
    row, col = np.rint(light.card.in_picture(middle)[0]).astype(int)
    truth = np.median(shot.light[row - 3 : row + 4, col - 3 : col + 4], axis=(0, 1))
    np.testing.assert_allclose(light.middle, truth, rtol=0.03)


def test_a_cream_paper_is_not_blamed_for_the_light(frame):
    """With the card the cast is the light's: that of the greys, whatever the paper."""
    shot, path = frame(stock="cream")
    alone = judge_photo(path, context_of(shot))
    told = judge_photo(path, context_of(shot, card=True))
    grey = np.array(told.card_level)
    lab = linear_srgb_to_lab(grey * 0.625 / (grey @ [0.2126, 0.7152, 0.0722]))
    light_cast = float(np.hypot(lab[1], lab[2]))
    assert told.value("paper_cast_Cab") == pytest.approx(light_cast, abs=1.5)
    assert alone.value("paper_cast_Cab") > light_cast + 3


def test_the_sheet_is_measured_on_the_card(frame, tmp_path):
    """Nobody told the size; 1 % of it is what the card's plane allows."""
    shot, path = frame()
    found, _ = find_in_shot(read_shot(path), context_of(shot, card=True))
    size = size_on_card(found, card_in(read_shot(path)))
    np.testing.assert_allclose(size, (105, 148), rtol=0.01)
    scored = score_photos([path], out=tmp_path / "out", workers=1)
    assert not scored.guessed_size
    told = sorted((scored.context.width_mm, scored.context.height_mm))  # which way up is open
    assert told == pytest.approx([105, 148], rel=0.01)


def test_drift_is_told_by_the_card_where_all_frames_show_it(frame):
    shot, path = frame()
    judged = judge_photo(path, context_of(shot, card=True))
    darker = replace(judged, card_level=tuple(v / 2 for v in judged.card_level))
    flags = find_flags([judged, judged, judged, darker])
    assert [f.kind for f in flags[3]] == ["exposure"]
    assert flags[3][0].sentence == "The grey card is 1.0 stops darker than in the set."
    assert not flags[0]
    # A paper that gleams in one frame is no change of the exposure.
    gleam = replace(judged, paper_level=tuple(min(1.0, 1.5 * v) for v in judged.paper_level))
    assert not any(find_flags([judged, judged, judged, gleam]))
