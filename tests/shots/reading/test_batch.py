"""A batch survives hanging, crashing and greedy photographs, and goes on where it stopped."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import textwrap
import time
from pathlib import Path

import numpy as np
import pytest

from lightplan.errors import BadInput
from lightplan.shots.sets.batch import photographs_in, score_batch
from lightplan.shots.sets.journal import FILE_NAME, Journal, Outcome, photograph_key
from lightplan.shots.sets.pool import WorkerPool
from lightplan.shots.sets.worker import WorkerLimits

HERE = Path(__file__).parent
linux_only = pytest.mark.skipif(sys.platform != "linux", reason="memory limits are Linux's")


@pytest.fixture
def judges(monkeypatch):
    """The module of judging functions, where worker processes can import it too."""
    monkeypatch.syspath_prepend(str(HERE))
    import judging_examples

    return judging_examples


def make(folder: Path, *names: str) -> list[Path]:
    folder.mkdir(exist_ok=True)
    for name in names:
        (folder / name).write_bytes(b"x" * len(name))
    return [folder / name for name in names]


def test_every_photograph_gets_one_outcome(tmp_path, judges):
    paths = make(tmp_path / "in", *[f"IMG_{i}.jpg" for i in range(20)])
    outcomes = list(score_batch(paths, judges.by_name, out_dir=tmp_path / "out", workers=2))
    assert sorted(o.path for o in outcomes) == sorted(map(str, paths))
    assert all(o.result == {"name": o.file, "length": len(o.file)} for o in outcomes)


@linux_only
def test_bad_photographs_do_not_take_the_batch_with_them(tmp_path, judges):
    bad = ["hang.jpg", "crash.jpg", "greedy.jpg", "fault.jpg", "refuse.jpg", "nan.jpg"]
    good = [f"good{i}.jpg" for i in range(12)]
    paths = make(tmp_path / "in", *bad, *good)
    start = time.monotonic()
    outcomes = {
        o.file: o
        for o in score_batch(
            paths,
            judges.by_name,
            out_dir=tmp_path / "out",
            workers=2,
            timeout_s=3,
            memory_limit=1 << 30,
        )
    }
    assert time.monotonic() - start < 30
    assert set(outcomes) == {*bad, *good}
    assert all(outcomes[name].error is None for name in good)
    wanted = {
        "hang.jpg": "must end within 3 s (got no answer)",
        "crash.jpg": "must end by itself (got a crash",
        "greedy.jpg": "must fit in 1024 MB of memory",
        "fault.jpg": "ZeroDivisionError: an honest mistake",
        "refuse.jpg": "the file must be kind (got cruel)",
        "nan.jpg": "the result must be plain values",
    }
    for name, part in wanted.items():
        assert outcomes[name].result is None
        assert part in str(outcomes[name].error)


@pytest.mark.parametrize("at_hand", [True, False])
def test_a_worker_gets_its_next_photograph_before_its_answer_is_looked_at(
    tmp_path, judges, at_hand
):
    taken = []
    paths = make(tmp_path / "in", "a.jpg", "b.jpg", "c.jpg")
    with WorkerPool(judges.by_name, workers=1, limits=WorkerLimits()) as pool:
        answers = pool.run((taken.append(p.name) or p for p in paths), at_hand=at_hand)
        ahead = [len(taken) for _ in answers]
    assert ahead == ([2, 3, 3] if at_hand else [1, 2, 3])
    assert taken == ["a.jpg", "b.jpg", "c.jpg"]


def test_who_reads_the_answers_slowly_makes_nobody_late(tmp_path, judges):
    paths = make(tmp_path / "in", *[f"IMG_{i}.jpg" for i in range(4)])
    seen = []
    with WorkerPool(judges.by_name, workers=2, limits=WorkerLimits(timeout_s=1)) as pool:
        for path, reply in pool.run(paths, at_hand=True):
            time.sleep(1.3)
            seen.append((path.name, reply.error))
    assert sorted(seen) == [(p.name, None) for p in paths]


def test_a_photograph_that_the_moment_failed_is_tried_again(tmp_path, judges):
    paths = make(tmp_path / "in", "once.jpg", "good.jpg")
    options = {"out_dir": tmp_path / "out", "workers": 1, "timeout_s": 3}
    outcomes = list(score_batch(paths, judges.by_name, **options))
    assert [o.file for o in outcomes] == ["good.jpg", "once.jpg"]
    assert all(o.error is None for o in outcomes)
    assert all(o.resumed for o in score_batch(paths, judges.by_name, **options))


def test_a_second_run_goes_on_where_the_first_stopped(tmp_path, judges):
    paths = make(tmp_path / "in", *[f"IMG_{i}.jpg" for i in range(8)])
    first = score_batch(paths, judges.by_name, out_dir=tmp_path / "out", workers=1)
    seen = [next(first).file for _ in range(3)]
    first.close()  # what Ctrl-C does to a generator
    second = list(score_batch(paths, judges.by_name, out_dir=tmp_path / "out", workers=1))
    assert [o.file for o in second if o.resumed] == seen
    assert sorted(o.file for o in second) == sorted(p.name for p in paths)


def test_changed_files_digests_and_retries_are_judged_again(tmp_path, judges):
    same, changed, crash = make(tmp_path / "in", "a.jpg", "b.jpg", "crash.jpg")
    options = {"out_dir": tmp_path / "out", "workers": 1}
    list(score_batch([same, changed, crash], judges.by_name, digest="one", **options))
    changed.write_bytes(b"longer than before")
    again = list(score_batch([same, changed, crash], judges.by_name, digest="one", **options))
    assert {o.file for o in again if o.resumed} == {"a.jpg"}
    other = list(score_batch([same], judges.by_name, digest="another rig", **options))
    assert not other[0].resumed
    afresh = list(score_batch([same], judges.by_name, digest="one", resume=False, **options))
    assert not afresh[0].resumed
    assert (tmp_path / "out" / f"{FILE_NAME}.old").exists()


SCRIPT = """
    import sys
    from pathlib import Path
    sys.path.insert(0, {here!r})
    sys.path.insert(0, {root!r})
    import judging_examples
    from lightplan.shots.sets.batch import score_batch

    if __name__ == "__main__":
        paths = sorted(Path({folder!r}).iterdir())
        for outcome in score_batch(paths, judging_examples.by_name, out_dir={out!r}, workers=2):
            print(outcome.file, flush=True)
"""


@pytest.mark.parametrize("how", ["SIGKILL", "SIGINT"])
@pytest.mark.skipif(os.name != "posix", reason="signals of Unix")
def test_a_killed_run_loses_nothing_it_announced(tmp_path, judges, how):
    paths = make(tmp_path / "in", *[f"slow{i:02d}.jpg" for i in range(30)])
    script = tmp_path / "run.py"
    text = textwrap.dedent(SCRIPT).format(
        here=str(HERE),
        root=str(HERE.parents[2]),
        folder=str(tmp_path / "in"),
        out=str(tmp_path / "out"),
    )
    script.write_text(text)
    run = subprocess.Popen(
        [sys.executable, str(script)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    announced = [run.stdout.readline().strip() for _ in range(5)]
    run.send_signal(getattr(signal, how))
    rest, _ = run.communicate(timeout=20)
    announced += rest.split()
    outcomes = list(score_batch(paths, judges.by_name, out_dir=tmp_path / "out", workers=2))
    assert {o.file for o in outcomes if o.resumed} >= set(announced)
    assert len(announced) >= 5
    assert sorted(o.file for o in outcomes) == [p.name for p in paths]
    lines = (tmp_path / "out" / FILE_NAME).read_text().splitlines()
    assert len(lines) == len(paths)  # nothing was judged twice


def test_a_torn_line_is_skipped_and_ended(tmp_path):
    with Journal(tmp_path) as journal:
        journal.add("one", Outcome(path="one.jpg", result={"score": 80}))
    with (tmp_path / FILE_NAME).open("ab") as file:
        file.write(b'{"format": 1, "key": "two", "path": "two.j')
    with Journal(tmp_path) as journal:
        assert set(journal.done()) == {"one"}
        journal.add("three", Outcome(path="three.jpg", error="three.jpg: no."))
    with Journal(tmp_path) as journal:
        assert set(journal.done()) == {"one", "three"}
        assert journal.done()["one"].result == {"score": 80}


@pytest.mark.skipif(sys.platform == "win32", reason="locks of Unix")
def test_two_runs_cannot_share_a_folder(tmp_path):
    with Journal(tmp_path), pytest.raises(BadInput, match="used by one run at a time"):
        Journal(tmp_path)


def test_a_key_depends_on_place_size_time_and_digest(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"1")
    keys = {photograph_key(path, "x"), photograph_key(path, "y")}
    os.utime(path, ns=(1, 1))
    keys.add(photograph_key(path, "x"))
    path.write_bytes(b"12")
    os.utime(path, ns=(1, 1))
    keys.add(photograph_key(path, "x"))
    assert len(keys) == 4
    assert photograph_key(path, "x") in keys


def test_folders_are_searched_in_the_order_of_their_numbers(tmp_path):
    make(tmp_path / "in", "IMG_10.jpg", "IMG_9.JPG", "notes.txt", "._IMG_9.JPG", "b.heic")
    found = photographs_in([tmp_path / "in", tmp_path / "in" / "IMG_10.jpg", "gone.jpg"])
    assert [p.name for p in found] == ["b.heic", "IMG_9.JPG", "IMG_10.jpg", "gone.jpg"]


@linux_only
def test_freed_memory_is_used_again_and_a_giants_given_back(tmp_path, judges):
    paths = make(tmp_path / "in", *[f"{n}.jpg" for n in ("20", "20b", "20c", "600", "20d", "20e")])
    options = {"out_dir": tmp_path / "out", "workers": 1}
    told = [o.result for o in score_batch(paths, judges.megabytes, **options)]
    fresh = 20 * 2**20 // os.sysconf("SC_PAGE_SIZE")
    assert max(one["faults"] for one in told[1:3]) < 0.1 * fresh
    assert told[-1]["rss_mb"] < told[2]["rss_mb"] + 300


@linux_only
def test_memory_stays_flat_over_many_photographs(tmp_path, judges, save, astronaut):
    picture = np.tile(astronaut, (2, 2, 1))
    one = save(tmp_path / "one.jpg", picture, quality=90)
    folder = tmp_path / "many"
    folder.mkdir()
    for i in range(300):
        (folder / f"IMG_{i}.jpg").hardlink_to(one)
    outcomes = list(
        score_batch(sorted(folder.iterdir()), judges.brightness, out_dir=tmp_path / "o", workers=1)
    )
    peaks = [o.result["rss_kb"] for o in outcomes]
    assert len(peaks) == 300
    assert peaks[-1] - peaks[9] < 4096  # kB, after the first ten


def test_the_journal_is_plain_json_lines(tmp_path, judges):
    (path,) = make(tmp_path / "in", "a.jpg")
    list(score_batch([path], judges.by_name, out_dir=tmp_path / "out", workers=1))
    entry = json.loads((tmp_path / "out" / FILE_NAME).read_text())
    assert entry["result"] == {"name": "a.jpg", "length": 5}
    assert entry["error"] is None
