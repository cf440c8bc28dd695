"""Whole jobs shared out to processes: none is lost, whatever becomes of a process."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

import lightplan
from lightplan.process import python_that_runs
from lightplan.progress import Stop
from lightplan.workers import _MAIN, Workers

ASKER = """
import os, sys
from lightplan.workers import Workers
with Workers("child_work:tells_its_number", 2) as workers:
    list(workers.answers([(sys.argv[1], os.getpid())] * 2))
"""


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


def test_a_process_says_nothing_when_who_asked_is_gone() -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", _MAIN, "child_work:slowly"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stderr is not None
    for sent in (None, (0.3,)):
        pickle.dump(sent, child.stdin)
    child.stdin.flush()
    child.stdout.close()  # its answer finds nobody
    assert (child.wait(60), child.stderr.read()) == (0, b"")
    child.stdin.close()
    child.stderr.close()


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="there is no /proc to look in")
def test_a_job_is_given_up_once_who_asked_was_killed(tmp_path: Path) -> None:
    told = tmp_path / "number"
    asker = subprocess.Popen([sys.executable, "-c", ASKER, str(told)])
    while not told.exists():
        assert asker.poll() is None
        time.sleep(0.05)
    child = int(told.read_text())
    asker.send_signal(signal.SIGKILL)
    asker.wait()
    end = time.monotonic() + 30
    while _runs(child):
        assert time.monotonic() < end, "it still works, and nobody waits for it"
        time.sleep(0.1)


def _runs(number: int) -> bool:
    try:
        state = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


def test_a_makers_own_files_are_no_modules(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "numpy.py").write_text("raise SystemExit('of the maker')")
    monkeypatch.chdir(tmp_path)
    plain = subprocess.run([sys.executable, "-c", "import numpy"], capture_output=True, check=False)
    assert b"of the maker" in plain.stderr
    code = "import sys, numpy; print(numpy.pi, sys.argv[1])"
    ours = subprocess.run(python_that_runs(code, "said"), capture_output=True, check=True)
    assert ours.stdout.split() == [b"3.141592653589793", b"said"]


def test_every_process_of_ours_is_begun_so() -> None:
    root = Path(lightplan.__file__).parent
    others = [p for p in root.rglob("*.py") if "sys.executable" in p.read_text("utf-8")]
    assert [p.name for p in others] == ["process.py"]
