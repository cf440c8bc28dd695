"""Whole jobs shared out to processes: none is lost, whatever becomes of a process."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from lightplan.progress import Stop
from lightplan.workers import Workers


@pytest.fixture(autouse=True)
def _children_find_this_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PYTHONPATH", str(Path(__file__).parent))


def test_answers_carry_the_number_of_their_job() -> None:
    with Workers("child_work:Adder", 2, begin=(100,)) as workers:
        found = dict(workers.answers([(i,) for i in range(60)]))
        again = dict(workers.answers([(7,)]))
    assert {number: value for number, (value, _) in found.items()} == {
        i: 100 + i for i in range(60)
    }
    assert len({process for _, process in found.values()}) == 2
    assert again[0][0] == 107


def test_what_a_dying_process_had_is_done_here() -> None:
    with Workers("child_work:dies_elsewhere", 2) as workers:
        found = dict(workers.answers([(os.getpid(),)] * 3))
    assert found == dict.fromkeys(range(3), "done here")


def test_what_cannot_be_sent_is_done_here() -> None:
    class Local(int):  # a class of this function has no name that another process could find
        pass

    with Workers("child_work:squared", 2) as workers:
        found = dict(workers.answers([(Local(i),) for i in range(4)]))
    assert {number: value for number, (value, _) in found.items()} == {i: i * i for i in range(4)}


def test_no_job_is_begun_after_a_stop() -> None:
    stop = Stop()
    with Workers("child_work:Adder", 1, begin=(0,), stop=stop) as workers:
        found = []
        for _, (value, _) in workers.answers([(i,) for i in range(50)]):
            found.append(value)
            if value == 2:
                asker = threading.Thread(target=stop.ask)
                asker.start()
                asker.join()
    assert found == [0, 1, 2]
