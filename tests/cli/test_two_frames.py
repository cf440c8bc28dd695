"""Two frames from one tripod, and how the maker is told of them."""

from dataclasses import replace

import pytest

from lightplan.measures.verdict import Gate, Judgement
from lightplan.planning.frame_pair import plan_two_frames
from lightplan.rigfiles import load_rig
from lightplan.scene import Paper
from lightplan.tasks.two_frames import two_frames_note, two_frames_offer, two_frames_words


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
