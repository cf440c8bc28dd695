"""Two frames from one tripod, and how the maker is told of them."""

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium
import pytest

from lightplan.light import Detail
from lightplan.light.exposure import camera_picture, foil_share
from lightplan.light.keeper import layers_of
from lightplan.measures.verdict import Gate, Judgement
from lightplan.optics.colour import luminance_factor
from lightplan.planning.effort import Effort
from lightplan.planning.frame_pair import plan_two_frames
from lightplan.progress import Stop
from lightplan.rigfiles import load_rig
from lightplan.scene import Paper
from lightplan.tasks import looks, two_frames, workbench
from lightplan.tasks.predict import predict
from lightplan.tasks.two_frames import (
    joined_picture,
    two_frames_note,
    two_frames_offer,
    two_frames_words,
)


@pytest.fixture(scope="module")
def hard():
    """A rig whose one lamp serves the paper alone: the foil sees only the dark room."""
    rig = load_rig("rose-gold-tag-dark").rig
    look = replace(rig.look, kind="gradient")
    return replace(rig, lamps=rig.lamps[:1], cards=(), freedoms=(), look=look)


@pytest.fixture(scope="module")
def found(hard):
    return plan_two_frames(hard, evaluations=20)


def test_no_frame_is_lit_by_the_dim_room_alone(found):
    assert found.foil.trims
    assert found.paper.trims


def test_each_frame_says_which_lamps_burn_and_how_it_is_exposed(found, hard):
    worth = replace(found, worth_it=True)
    said = "\n".join(two_frames_words(worth, hard))
    for name in ("Why", "Foil frame", "Paper frame", "Join"):
        assert f"  {name}: " in said
    assert f"{hard.lamps[0].name}: " in said
    assert "of 255" in said
    assert two_frames_note(worth, hard).heading == "Two frames, one picture"


def test_where_one_frame_is_enough_the_sheet_says_nothing(found, hard):
    assert two_frames_note(replace(found, worth_it=False), hard) is None
    assert len(two_frames_words(replace(found, worth_it=False), hard)) == 1


def test_two_frames_joined_show_foil_and_paper_each_at_the_level_it_is_exposed_for(found, hard):
    detail = Detail.quick(camera_rows=200, camera_cols=300)
    joined = joined_picture(found, hard, detail)
    layers = layers_of(hard, detail)
    across, down = (layers.camera_xyz_mm[..., axis] for axis in (0, 1))
    share = foil_share(hard, across, down)
    level = luminance_factor(np.asarray(joined, float))
    assert np.median(level[share > 0.9]) == pytest.approx(found.foil.level, rel=0.15)
    paper = np.isfinite(across) & (share < 0.1)
    assert np.median(level[paper]) == pytest.approx(found.paper.level, rel=0.15)
    single = luminance_factor(np.asarray(camera_picture(hard, layers), float))
    assert np.median(single[share > 0.9]) < 0.5 * np.median(level[share > 0.9])


def test_a_look_that_is_offered_as_two_frames_shows_these_joined(hard, monkeypatch):
    """Not the black picture of one frame; where two gain nothing, none are offered."""
    shut = Gate("paper not dull", "paper_tone_Lstar", passed=False, factor=0.6, reason="dull")
    judged = Judgement(5.0, "retake", (), (shut,), ("too dark",), 1.0)
    plan = looks.plan_look(
        hard,
        (),
        "gradient",
        effort=Effort(evaluations=4, polish=0, builds=8, searched=1, is_quick=True, is_by_eye=True),
    ).plan
    black = np.zeros((20, 30, 3), np.uint8)
    one = looks.ProofLook(look="gradient", plan=plan, judgement=judged, codes=black)
    for worth, shown in ((True, True), (False, False)):
        pair = replace(plan_two_frames(hard, evaluations=20), worth_it=worth, joined_score=61.0)
        monkeypatch.setattr(looks, "two_frames_of", lambda *_, pair=pair, **__: pair)
        monkeypatch.setattr(looks, "PICTURE_LONG_SIDE", 60)
        shown_so = looks._with_two_frames(one, plan.rig, 0)
        cell = looks.cell_of(shown_so)
        assert bool(cell.codes.any()) is shown
        assert ("Shown are two frames joined, 61 of 100. One frame cannot" in cell.advice) is shown
        assert ("--two-frames" in cell.advice) is shown
        # the page shows the same picture, and tells what to do without a command
        on_page = workbench._of_look(shown_so, hard)
        picture = cv2.imdecode(np.frombuffer(on_page.jpeg, np.uint8), cv2.IMREAD_COLOR)
        assert bool((picture > 20).any()) is shown
        said = "Shown are two frames joined, 61 of 100. One frame cannot hold both the foil and"
        assert on_page.two_frames.startswith(said) is shown
        names = ("Why", "Foil frame", "Paper frame", "Join") if shown else ()
        assert tuple(name for name, _ in on_page.two_frames_steps) == names


@pytest.mark.parametrize("case", ["two", "one holds both", "not worth it"])
def test_the_setup_sheet_of_a_picture_in_two_frames_says_how_they_are_taken(
    hard, found, monkeypatch, case
):
    """On the page too: who takes such a look there builds it for one exposure otherwise."""
    shut = Gate("paper not dull", "paper_tone_Lstar", passed=case == "one holds both",
                factor=0.6, reason="dull")  # fmt: skip
    judged = Judgement(5.0, "retake", (), (shut,), ("too dark",), 1.0)
    loaded = replace(load_rig("rose-gold-tag-dark"), rig=hard)
    predicted = replace(predict(loaded, detail=Detail.quick(), explain=False), judgement=judged)
    monkeypatch.setattr(workbench, "load_rig", lambda _: loaded)
    monkeypatch.setattr(workbench, "predict", lambda *_, **__: predicted)
    pair = replace(found, worth_it=case != "not worth it")
    monkeypatch.setattr(two_frames, "two_frames_of", lambda _: pair)
    sheet = workbench.setup_work(
        Path("rig.toml"), watch=lambda _: None, part=lambda _: None, stop=Stop()
    )
    names = ("Why", "Foil frame", "Paper frame", "Join") if case == "two" else ()
    assert tuple(name for name, _ in sheet.two_frames) == names
    pages = pdfium.PdfDocument(sheet.pdf)
    printed = "\n".join(page.get_textpage().get_text_bounded() for page in pages)
    assert ("Two frames, one picture" in printed) is (case == "two")
    assert ("Paper frame" in printed) is (case == "two")


@pytest.mark.parametrize("name", ["paper not dull", "foil as light as white"])
def test_where_foil_and_white_cannot_both_be_held_two_frames_are_offered(name):
    shut = Gate(name, "paper_tone_Lstar", passed=False, factor=0.6, reason="too dark")
    judged = Judgement(55.0, "adjust", (), (shut,), ("too dark",), 1.0)
    said = two_frames_offer(judged, Paper(), "my plans/rig.toml", "two")
    assert said.endswith("lightplan plan 'my plans/rig.toml' --two-frames --out two")
    held = replace(judged, gates=(replace(shut, passed=True),))
    other = replace(judged, gates=(replace(shut, name="sharp"),))
    assert two_frames_offer(held, Paper(), "rig.toml", "two") == ""
    assert two_frames_offer(other, Paper(), "rig.toml", "two") == ""


def test_beside_dark_stock_no_white_paper_is_told_of():
    black = Paper(reflectance=(0.04, 0.04, 0.04))
    shut = Gate(
        "foil as light as white", "foil_to_white_stops", passed=False, factor=0.6, reason=""
    )
    judged = Judgement(47.0, "adjust", (), (shut,), ("",), 1.0)
    assert two_frames_offer(judged, black, "rig.toml", "two") == ""
    dull = replace(judged, gates=(replace(shut, name="paper not dull"),))
    said = two_frames_offer(dull, black, "rig.toml", "two")
    assert said.startswith("One frame cannot hold both the foil and the paper here")
