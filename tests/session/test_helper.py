from __future__ import annotations

import multiprocessing
import queue
import threading
import time
from typing import Any

import child_work
import pytest

from lightplan.session.child import ChildProcess

PATIENCE_S = 60.0


class Ear:
    def __init__(self) -> None:
        self.heard: queue.Queue[tuple[int, str, Any]] = queue.Queue()

    def __call__(self, number: int, kind: str, content: Any) -> None:
        self.heard.put((number, kind, content))

    def last(self) -> tuple[int, str, Any]:
        """The next message that ends a piece of work."""
        while True:
            found = self.heard.get(timeout=PATIENCE_S)
            if found[1] not in ("progress", "part"):
                return found


@pytest.fixture(scope="module")
def ear():
    return Ear()


@pytest.fixture(scope="module")
def helper(ear):
    helper = ChildProcess(ear)
    yield helper
    helper.close()


def test_progress_and_parts_come_out_and_then_the_result(helper, ear):
    helper.begin(1, child_work.count, 2)
    found = [ear.heard.get(timeout=PATIENCE_S) for _ in range(5)]
    assert [kind for _, kind, _ in found] == ["progress", "part", "progress", "part", "done"]
    assert found[2][2].done == 1
    assert found[-1] == (1, "done", 2)


def test_it_stops_when_asked_and_works_on(helper, ear):
    helper.begin(2, child_work.wait)
    ear.heard.get(timeout=PATIENCE_S)
    helper.stop()
    assert ear.last() == (2, "stopped", "Stopped.")
    helper.begin(3, child_work.count, 1)
    assert ear.last() == (3, "done", 1)


def test_bad_input_is_told_in_its_own_sentence(helper, ear):
    helper.begin(4, child_work.refuse)
    assert ear.last() == (4, "refused", "x must be 1 (got 2); set it.")


def test_a_fault_of_ours_is_told_and_the_child_lives(helper, ear):
    helper.begin(5, child_work.fail)
    assert ear.last() == (5, "broken", "This went wrong inside lightplan: ZeroDivisionError.")
    helper.begin(6, child_work.count, 0)
    assert ear.last() == (6, "done", 0)


def test_a_child_that_dies_is_told_and_another_takes_its_place(helper, ear):
    helper.begin(7, child_work.die)
    number, kind, sentence = ear.last()
    assert (number, kind) == (7, "broken")
    assert "start it again" in sentence
    time.sleep(0.05)
    helper.begin(8, child_work.count, 0)
    assert ear.last() == (8, "done", 0)


def test_closing_ends_the_process(ear):
    before = multiprocessing.active_children()
    helper = ChildProcess(ear)
    helper.begin(9, child_work.wait)
    ear.heard.get(timeout=PATIENCE_S)
    [process] = [p for p in multiprocessing.active_children() if p not in before]
    helper.close()
    assert not process.is_alive()


def test_whoever_asks_to_stop_never_waits_for_the_child(ear):
    helper = ChildProcess(ear)
    helper.begin(10, child_work.stand_still)
    ear.heard.get(timeout=PATIENCE_S)
    asking = threading.Thread(target=helper.stop, daemon=True)
    asking.start()
    asking.join(timeout=5.0)
    for process in multiprocessing.active_children():
        process.kill()
    assert not asking.is_alive()
