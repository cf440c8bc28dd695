"""What a plan says: of lamps of which only the watts are known, and of having been stopped."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from lightplan.cli.plan_words import STOPPED_WORDS, plan_words
from lightplan.planning.effort import Effort
from lightplan.planning.planner import plan
from lightplan.planning.result import Tolerance
from lightplan.rigfiles import load_rig
from lightplan.scene import Output, usually_held
from lightplan.tasks.plan import unknown_powers
from lightplan.tasks.plan_hints import left_alone_words, no_strip_words


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


def test_a_plan_that_was_stopped_says_that_its_promises_are_rough():
    rig = load_rig("silver-bookplate-bright").rig
    fixed = replace(rig, freedoms=tuple(f for f in rig.freedoms if f.dimension == "trim_stops"))
    effort = Effort(evaluations=4, polish=0, builds=8)
    for stops, told in ((True, 1), (False, 0)):
        found = plan(fixed, effort=effort, should_stop=lambda stops=stops: stops)
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
