"""Whole searches side by side: the same outcome with any number of processes."""

import queue
import types
from dataclasses import replace

import pytest

from lightplan.light import Detail
from lightplan.merit.engine_model import Models
from lightplan.planning import alongside
from lightplan.planning.alongside import Alongside
from lightplan.planning.cupboard import Item
from lightplan.planning.effort import Effort
from lightplan.planning.everything import plan_everything
from lightplan.planning.helper import Died, Helper, HelperDesk
from lightplan.scene import Camera, Look, Placement, Rig, Room, Sheet

SEARCHES = tuple(f"search {number}" for number in range(7))


class Referee:
    """Takes all answers; needs none after a given one was noted."""

    def __init__(self, enough=None):
        self.noted = {}
        self.enough = enough

    def needs(self, number):
        return self.enough not in self.noted

    def begun(self, number, search):
        return search

    def note(self, number, found):
        assert number not in self.noted
        self.noted[number] = found


class FakeHelper:
    """Answers in a thread of its own; `dies` after so many, or holds on until it is stopped."""

    def __init__(self, *, dies=None, holds=False):
        self.orders = queue.SimpleQueue()
        self.wake = queue.SimpleQueue()
        self.dies, self.holds, self.done = dies, holds, []

    def begin(self, search, rig):
        self.orders.put(search)

    def ended(self, rig):
        search = self.orders.get(timeout=10)
        if self.dies == len(self.done):
            raise Died
        self.done.append(search)
        if self.holds:
            self.wake.get(timeout=10)
        return "found by a helper"

    def stop(self):
        self.wake.put(True)


@pytest.fixture
def here(monkeypatch):
    """What this process did; `hook` is called in each of its searches with what tells to stop."""
    told = types.SimpleNamespace(done=[], hook=lambda should_stop: None)

    def searched(search, should_stop, progress):
        told.done.append(search)
        told.hook(should_stop)
        return "found here"

    monkeypatch.setattr(alongside, "searched", searched)
    return told


def run(helpers, referee, should_stop=lambda: False):
    Alongside(SEARCHES, helpers, None, referee).run(should_stop, None)
    return referee.noted


@pytest.mark.parametrize("count", [0, 1, 3, 9])
def test_each_is_done_once_by_somebody(here, count):
    helpers = [FakeHelper() for _ in range(count)]
    noted = run(helpers, Referee())
    assert sorted(noted) == list(range(7))
    assert None not in noted.values()
    done = here.done + [search for helper in helpers for search in helper.done]
    assert sorted(done) == sorted(SEARCHES)
    assert here.done[0] == SEARCHES[0], "the first is ours in any case"


@pytest.mark.parametrize("dies", [0, 1])
def test_what_a_helper_that_died_had_is_done_here(here, dies):
    noted = run([FakeHelper(dies=dies)], Referee())
    assert sorted(noted) == list(range(7))
    assert None not in noted.values()


def test_nothing_is_begun_that_is_not_needed(here):
    noted = run([], Referee(enough=2))
    assert here.done == list(SEARCHES[:3])
    assert [number for number, found in noted.items() if found is None] == [3, 4, 5, 6]


def test_a_search_that_is_not_needed_any_more_is_ended(here):
    helper = FakeHelper(holds=True)  # it would go on for ever
    noted = run([helper], Referee(enough=0))
    assert len(helper.done) <= 1
    assert sorted(noted) == list(range(7))


def test_a_stop_ends_all_with_what_they_have(here):
    helpers = [FakeHelper(holds=True), FakeHelper(holds=True)]
    asked = []

    def hook(should_stop):
        while not all(helper.done for helper in helpers):
            pass
        asked.append(True)
        assert should_stop()

    here.hook = hook
    noted = run(helpers, Referee(), lambda: bool(asked))
    assert here.done == [SEARCHES[0]]
    assert [n for n, found in noted.items() if found is not None] == [0, 1, 2] or len(noted) == 7
    assert sum(found is not None for found in noted.values()) == 3, "one in each process"


OWNED = [
    Item(name="softbox", kind="lamp", width_mm=400, height_mm=400),
    Item(name="board", kind="white board", width_mm=420, height_mm=297),
    Item(name="tissue", kind="diffuser", width_mm=500, height_mm=500),
]
BARE = Rig(
    title="tag",
    sheet=Sheet(width_mm=90, height_mm=60),
    camera=Camera(placement=Placement((0, -200, 400))),
    look=Look(kind="gradient"),
    room=Room(ambient_cd_m2=(0.2, 0.2, 0.2)),
)
SHORT = Effort(evaluations=24, polish=6, builds=8, searched=3)


def test_a_process_with_a_fault_ends_and_keeps_nobody_waiting(capfd):
    helper, detail = Helper(), Detail.quick(camera_rows=8, camera_cols=8)
    try:
        helper.use(BARE, detail)
        asked = helper.ask("no such task", [1], BARE)
        with pytest.raises(KeyError):  # it is done here instead, and meets the same fault
            helper.answers(asked, HelperDesk.of(BARE, detail, Models()))
    finally:
        helper.close()
    assert "no such task" in capfd.readouterr().err


@pytest.mark.slow
def test_same_seed_same_plan_with_any_number_of_processes():
    one, other = (
        plan_everything(BARE, OWNED, seed=2, effort=replace(SHORT, helpers=n)) for n in (0, 3)
    )
    assert repr(other.rig) == repr(one.rig)
    assert other.arrangement == one.arrangement
    assert other.evaluations == one.evaluations
    assert other.score == pytest.approx(one.score, abs=1e-3)
    assert other.robustness.yields == one.robustness.yields


def test_a_stop_gives_the_best_so_far_of_all_processes():
    told = []
    found = plan_everything(
        BARE, OWNED, seed=2, effort=replace(SHORT, evaluations=10**5, helpers=1),
        progress=told.append, should_stop=lambda: len(told) >= 3,
    )  # fmt: skip
    assert found.stopped_because == "stopped on request"
    assert found.score > 0
    searching = [one for one in told if one.stage == "searching"]
    assert [one.done for one in searching] == sorted(one.done for one in searching)
    assert [one.score for one in searching] == sorted(one.score for one in searching)
