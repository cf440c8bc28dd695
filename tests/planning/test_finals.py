"""Arrangements that ended close to each other: the one whose builds are worth most is planned."""

import types

import numpy as np
import pytest

from lightplan.planning import finals
from lightplan.planning.effort import SearchJob
from lightplan.planning.finals import sturdiest_of
from lightplan.planning.heats import Finalist

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
