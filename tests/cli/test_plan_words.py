"""What a plan says: of lamps of which only the watts are known, and of having been stopped."""

import json
from dataclasses import replace
from types import SimpleNamespace

import pytest

from lightplan.cli import planning
from lightplan.cli.plan_words import STOPPED_WORDS, plan_words
from lightplan.planning.effort import Effort
from lightplan.planning.planner import plan
from lightplan.planning.result import NoPlan, Tolerance
from lightplan.rigfiles import load_rig
from lightplan.scene import Output, Walls, usually_held
from lightplan.tasks import roomier as task
from lightplan.tasks.plan import WrittenPlan, note_more_room, plan_document, unknown_powers
from lightplan.tasks.plan_hints import left_alone_words, no_strip_words
from lightplan.tasks.predict import predict


def told(reach):
    """Words for a lamp of 60 W, 50 to 200 lm each: one stop either way of their middle."""
    rig = load_rig("silver-bookplate-bright").rig
    watts = Output(value=60, unit="W", lumens_per_watt=(50, 200))
    lamp = replace(rig.lamps[0], name="LED", output=watts)
    tolerance = Tolerance(element="LED", dimension="power_stops", minus=reach, plus=reach)
    plan = SimpleNamespace(rig=replace(rig, lamps=(lamp,), freedoms=()), tolerances=(tolerance,))
    return unknown_powers(plan)


def test_an_unknown_power_that_the_plan_outlives_matters_little():
    (words,) = told(1.2)
    assert "open by 1.0 stops either way, which matters little" in words


def test_one_photograph_settles_a_power_that_matters():
    (words,) = told(0.3)
    assert "One photograph settles it: white copy paper 1 m in front" in words


LITTLE = Effort(evaluations=4, polish=0, builds=8)


@pytest.fixture(scope="module")
def planned():
    """The plan of a rig in which nothing is free, which no test may change."""
    rig = load_rig("silver-bookplate-bright").rig
    return plan(replace(rig, freedoms=()), effort=LITTLE)


def test_a_plan_that_was_stopped_says_that_its_promises_are_rough(planned):
    rig = load_rig("silver-bookplate-bright").rig
    fixed = replace(rig, freedoms=tuple(f for f in rig.freedoms if f.dimension == "trim_stops"))
    stopped = plan(fixed, effort=LITTLE, should_stop=lambda: True)
    for found, told in ((stopped, 1), (planned, 0)):
        assert plan_words(found, "mm").count(STOPPED_WORDS) == told


def test_where_all_is_locked_that_is_said():
    rig = load_rig("silver-bookplate-bright").rig
    locked = replace(
        rig,
        camera=replace(rig.camera, locked=True),
        lamps=tuple(replace(lamp, locked=True) for lamp in rig.lamps),
        cards=tuple(replace(card, locked=True) for card in rig.cards),
        freedoms=(),
    )
    free = replace(locked, cards=tuple(replace(card, locked=False) for card in rig.cards))
    for one, said in ((locked, True), (free, False)):
        plan = SimpleNamespace(rig=one, stopped_because="nothing to move")
        assert left_alone_words(plan).startswith("Nothing was moved: all of it is locked") is said
    moved = SimpleNamespace(rig=locked, stopped_because="converged")
    assert left_alone_words(moved) == ""


@pytest.mark.parametrize(
    ("look", "score", "holder", "said"),
    [
        ("bright band", 60.0, "books", True),
        ("bright band", 60.0, "clamp", False),
        ("bright band", 98.0, "books", False),
        ("bright field", 60.0, "books", False),
    ],
)
def test_a_band_without_a_strip_says_what_would_hang_one(look, score, holder, said):
    loaded = load_rig("silver-bookplate-bright")
    kept = tuple(replace(c, held=usually_held(holder)) for c in loaded.rig.cards)
    rig = replace(loaded.rig, cards=kept, look=replace(loaded.rig.look, kind=look))
    source = replace(loaded, rig=rig, owned=())
    words = no_strip_words(SimpleNamespace(rig=rig, score=score), source)
    assert ("a clamp or a boom would" in words) is said


TIGHT = Walls(width_mm=1200, depth_mm=1500, ceiling_mm=800)


@pytest.fixture
def in_a_closet(monkeypatch):
    """A rig of preset's name in a closet, and a poor plan there; without walls it stays as it is.

    That is what a search would find, without the time that it takes.
    """

    def made(name, walls=TIGHT, verdict="retake"):
        source = load_rig(name)
        rig = replace(source.rig, room=replace(source.rig.room, walls=walls))
        found = SimpleNamespace(
            score=0.0, judgement=SimpleNamespace(verdict=verdict), stopped_because="converged"
        )
        asked.clear()
        return rig, found, source

    def searched(rig, owned, **_):
        asked.append(rig.room.walls)
        return SimpleNamespace(rig=rig, score=97.0)

    asked: list = []
    monkeypatch.setattr(task, "plan_everything", searched)
    return made, asked


def test_walls_that_hold_a_plan_back_are_told_with_the_room_that_would_do(in_a_closet):
    made, asked = in_a_closet
    rig, found, source = made("rose-gold-tag-dark")
    told: list[str] = []
    page = planning.PlanPage(None, "A4", "cm", False)
    wish = planning.PlanAsked(source, rig, page, None, 0, told.append)
    words, room = planning._more_room(found, wish)
    assert asked == [None]
    assert told == ["looking at what more room would give"]
    more = task.roomier(found, rig, ())
    standing = replace(rig, room=replace(rig.room, walls=more.walls))
    assert more.score == predict(standing, explain=False).judgement.score >= 92
    assert more.walls.width_mm >= task.walls_round(rig, TIGHT).width_mm > TIGHT.width_mm
    assert f"hold this plan back: where there is room for {more.walls.width_mm / 10:.1f}" in words
    assert f"a quick plan comes to about {more.score:.0f} of 100." in words
    assert room == {
        "width_mm": more.walls.width_mm,
        "depth_mm": more.walls.depth_mm,
        "ceiling_mm": more.walls.ceiling_mm,
        "score": more.score,
        "sentence": words,
    }


def test_the_room_that_would_do_is_written_into_the_plan_that_is_there_by_then(tmp_path):
    room = {"width_mm": 3000.0, "sentence": "The walls hold this plan back."}
    before = WrittenPlan({"planned": True, "more_room": None}, (), None)
    assert note_more_room(before, tmp_path, None) is before
    told = note_more_room(before, tmp_path, room)
    assert json.loads((tmp_path / "plan.json").read_text()) == told.document
    assert told.document == {"planned": True, "more_room": room}


def test_walls_that_leave_no_plan_at_all_are_told_too(in_a_closet):
    rig, _, _ = in_a_closet[0]("rose-gold-tag-dark")
    nothing = NoPlan(
        in_the_way=(), reason="the camera passes through a wall", wish="", nearest=None
    )
    assert task.may_be_held_back(nothing, rig)
    more = task.roomier(nothing, rig, ())
    words = task.roomier_words(more, rig, "mm", is_planned=False)
    assert "stand in the way of any plan: where there is room for " in words
    assert plan_document(nothing)["more_room"] is None
    without = replace(rig, room=replace(rig.room, walls=None))
    assert not task.may_be_held_back(nothing, without)


def test_where_walls_close_by_spoil_the_picture_they_are_looked_at_farther_away(
    in_a_closet, monkeypatch
):
    """A dark field: room for the things alone does not do, for walls throw light of their own."""
    rig, found, _ = in_a_closet[0]("rose-gold-tag-dark")
    seen = []

    def predicted(standing, **_):
        seen.append(standing.room.walls.width_mm)
        score = 40.0 if seen[-1] < 2000 else 95.0
        return SimpleNamespace(judgement=SimpleNamespace(score=score))

    monkeypatch.setattr(task, "predict", predicted)
    more = task.roomier(found, rig, ())
    assert seen == [1400.0, 2100.0]  # and no farther than does
    assert (more.walls.width_mm, more.walls.ceiling_mm, more.score) == (2100.0, 1200.0, 95.0)


def test_where_only_the_ceiling_is_low_only_that_is_told(in_a_closet):
    rig, _, _ = in_a_closet[0]("rose-gold-tag-dark")
    more = task.Roomier(replace(TIGHT, ceiling_mm=1100.0), 93.6)
    assert task.roomier_words(more, rig, "mm") == (
        "The ceiling holds this plan back: where there is room for 1200 mm by 1500 mm, and "
        "1100 mm from the sheet up to the ceiling, a quick plan comes to about 94 of 100."
    )
    assert task.roomier_words(None, rig, "mm") == ""


@pytest.mark.parametrize(("walls", "verdict"), [(TIGHT, "keep"), (None, "retake")])
def test_more_room_is_not_looked_at_for_nothing(in_a_closet, walls, verdict):
    made, asked = in_a_closet
    rig, found, _ = made("rose-gold-tag-dark", walls, verdict)
    assert task.roomier(found, rig, ()) is None
    assert asked == []


def test_more_room_that_gives_hardly_more_is_not_told(in_a_closet):
    made, _ = in_a_closet
    rig, found, _ = made("rose-gold-tag-dark")
    found.score = 96.0
    assert task.roomier(found, rig, ()) is None


@pytest.mark.parametrize(("verdict", "said"), [("keep", "Not needed"), ("retake", "Left out")])
def test_what_a_poor_plan_does_without_may_be_missed(planned, verdict, said):
    judged = replace(planned.judgement, verdict=verdict)
    words = plan_words(replace(planned, judgement=judged, left_out=("under light",)), "mm")
    assert f"{said}: under light." in words
