"""Arrangements that ended close to each other: the one whose builds are worth most is planned."""

import math
import types
from dataclasses import dataclass

import numpy as np
import pytest

from lightplan.planning import finals
from lightplan.planning.effort import QUICK, SearchJob
from lightplan.planning.finals import best_end, sturdiest_of
from lightplan.planning.heat import Finalist
from lightplan.planning.plan_end import PlanEnd

LIGHT = np.zeros((2, 3), np.float32)


class FakeJudges:
    """A rig is a name; what the search's light, a prediction and builds make of it is given."""

    def __init__(self, told):
        self.told, self.detail, self.rig, self.used = told, "search", None, []
        self.bench = types.SimpleNamespace(sheet_samples=lambda _: LIGHT)

    def use(self, rig, detail=None):
        self.rig, self.detail = rig, self.detail if detail is None else detail
        self.used.append((rig, self.detail))

    def scored(self, lights):
        return [self.told[self.rig][0]] * len(lights)

    def stated(self, rigs):
        return [self.told[rig][1] for rig in rigs]


@pytest.fixture
def decided(monkeypatch):
    """Decide between rigs that are told as (score, prediction, mean of builds, things)."""

    def decide(told, *, is_stopped=False):
        judges = FakeJudges(told)

        def sturdiest(judges, job, explored):
            judges.detail = "finer"
            return types.SimpleNamespace(rig=judges.rig)

        monkeypatch.setattr(finals, "sturdiest", sturdiest)
        monkeypatch.setattr(
            finals, "mean_of_builds", lambda judges, job, rig, light, count: told[rig][2]
        )
        job = SearchJob.of(0, should_stop=lambda: is_stopped)
        all_of_it = [
            Finalist(name=name, rig=name, explored=None, things=things)
            for name, (*_, things) in told.items()
        ]
        one, best = sturdiest_of(judges, job, all_of_it)
        assert one.rig == best.rig == judges.rig
        assert judges.used[-1] == (one.rig, "finer"), "what follows is judged in finer light"
        searched = [rig for rig, detail in judges.used if detail == "search"]
        return one.name, searched

    return decide


def test_what_most_builds_keep_is_planned_where_two_are_as_good(decided):
    told = {"delicate": (96.0, 96.0, 88.0, 2), "sturdy": (95.0, 95.0, 94.0, 2)}
    assert decided(told) == ("sturdy", ["delicate", "sturdy"])


def test_what_a_prediction_makes_of_them_counts_and_not_the_search(decided):
    told = {"flattered": (98.0, 92.0, 97.0, 2), "honest": (95.0, 95.0, 93.5, 2)}
    assert decided(told)[0] == "honest"


def test_with_fewer_things_where_they_are_worth_the_same(decided):
    told = {"three": (95.0, 95.0, 93.0, 3), "two": (95.0, 95.0, 92.9, 2)}
    assert decided(told)[0] == "two"


def test_who_stops_gets_the_best_of_the_search_at_once(decided):
    told = {"best": (96.0, 96.0, 88.0, 2), "sturdy": (95.0, 95.0, 94.0, 2)}
    assert decided(told, is_stopped=True) == ("best", ["best"])


@pytest.fixture
def ended(monkeypatch):
    """End the first of some arrangements, told as (stated, mean of builds, loss, things)."""

    def end(told, *, effort=None, stops_after=99):
        asked = []
        judges = FakeJudges({name: (one[0], one[0]) for name, one in told.items()})
        judges.detail = types.SimpleNamespace(sheet_long_side=40)
        job = SearchJob.of(0, effort, should_stop=lambda: len(asked) > stops_after)
        first, *others = [
            Finalist(name=name, rig=name, explored=SearchEnd(), things=one[3])
            for name, one in told.items()
        ]
        heat = types.SimpleNamespace(outcome=lambda: [first], detail=judges.detail, used=700)
        alone = types.SimpleNamespace(rig=first.rig)
        monkeypatch.setattr(finals, "sturdiest_of", lambda *_: (first, alone))
        monkeypatch.setattr(finals, "sturdiest", lambda judges, *_: alone_of(judges.rig))
        monkeypatch.setattr(finals, "search_detail", lambda *_: judges.detail)
        monkeypatch.setattr(finals, "rivals", lambda *args: asked.append(args[2]) or others)
        monkeypatch.setattr(
            finals, "ended_at",
            lambda judges, job, best, name: PlanEnd(rig=best.rig, light=LIGHT, lost=told[name][2]),
        )  # fmt: skip
        monkeypatch.setattr(
            finals, "mean_of_builds", lambda judges, job, rig, light, count: told[rig][1]
        )
        found, how = best_end(judges, job, heat)
        if asked:
            assert judges.used[-1][0] == found.rig, "what follows is judged for what is planned"
        return found.rig, how.evaluations, asked

    def alone_of(rig):
        return types.SimpleNamespace(rig=rig)

    return end


@dataclass(frozen=True)
class SearchEnd:
    """How the search of an arrangement ended, with so many lights of all."""

    evaluations: int = 500

    @property
    def found(self):
        return self


FRAGILE = {"fragile": (95.0, 84.0, 11.0, 2), "sturdy": (92.0, 90.0, 2.0, 2)}


def test_what_is_told_less_is_planned_where_hands_spoil_what_is_told_more(ended):
    # a rose gold tag: two boards were told 95 and worth 83, a panel's edge 92 and worth 89
    rig, lights, asked = ended(FRAGILE)
    assert (rig, lights) == ("sturdy", 700)
    assert asked == [pytest.approx(-math.log(0.84 - 0.008))], "as what its builds are worth"


def test_no_more_is_searched_where_most_hands_build_the_winner(ended):
    told = FRAGILE | {"fragile": (95.0, 91.0, 4.0, 2)}
    assert ended(told) == ("fragile", 500, [])


def test_the_fragile_one_stays_where_others_are_worth_no_more(ended):
    assert ended(FRAGILE | {"sturdy": (92.0, 83.0, 9.0, 2)})[0] == "fragile"
    assert ended(FRAGILE | {"sturdy": (83.0, 90.0, 0.0, 2)})[0] == "fragile", "told so little"
    assert ended(FRAGILE | {"sturdy": (92.0, 84.3, 7.7, 3)})[0] == "fragile", "one thing more"


@pytest.mark.parametrize("case", ["quick", "stopped", "stopped on the way"])
def test_who_has_no_time_gets_the_winner(ended, case):
    how = {"effort": QUICK} if case == "quick" else {"stops_after": -1 if case == "stopped" else 0}
    assert ended(FRAGILE, **how)[0] == "fragile"
