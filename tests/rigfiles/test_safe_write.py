"""Files are written whole or not at all."""

import os
import stat
import subprocess
import sys
import threading

import pytest

from lightplan.errors import BadInput
from lightplan.safe_write import FileExists, atomic_write


def test_writes_text_and_bytes_and_makes_folders(tmp_path):
    path = tmp_path / "a" / "b" / "c.txt"
    assert atomic_write(path, "ä\r\n", replace=False) == path
    assert path.read_bytes() == "ä\r\n".encode()
    atomic_write(path, b"\x00\xff", replace=True)
    assert path.read_bytes() == b"\x00\xff"
    assert [p.name for p in path.parent.iterdir()] == ["c.txt"]


def test_does_not_replace_unless_asked(tmp_path, assert_one_sentence):
    path = tmp_path / "c.txt"
    path.write_text("old")
    with pytest.raises(FileExists, match="must be a new one") as caught:
        atomic_write(path, "new", replace=False)
    assert_one_sentence(caught.value, path)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["c.txt"]


@pytest.mark.parametrize("where", ["a file/x.txt", "x" * 300, "a folder"])
def test_places_that_cannot_be_written_give_one_sentence(tmp_path, assert_one_sentence, where):
    (tmp_path / "a file").write_text("")
    (tmp_path / "a folder").mkdir()
    with pytest.raises(BadInput) as caught:
        atomic_write(tmp_path / where, "new", replace=True)
    assert_one_sentence(caught.value)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a file", "a folder"]


@pytest.mark.parametrize("moment", ["fsync", "link"])
@pytest.mark.parametrize("event", [KeyboardInterrupt, MemoryError])
def test_a_write_that_is_cut_short_leaves_nothing(tmp_path, monkeypatch, moment, event):
    def fail(*args):
        raise event

    monkeypatch.setattr(os, moment, fail)
    with pytest.raises(event):
        atomic_write(tmp_path / "c.txt", "new", replace=False)
    assert [p.name for p in tmp_path.iterdir()] == []


def test_the_old_file_stays_when_replacing_is_cut_short(tmp_path, monkeypatch):
    path = tmp_path / "c.txt"
    path.write_text("old")

    def fail(*args):
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", fail)
    with pytest.raises(KeyboardInterrupt):
        atomic_write(path, "new", replace=True)
    assert path.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["c.txt"]


def test_a_killed_process_leaves_the_old_file_whole(tmp_path):
    path = tmp_path / "c.txt"
    path.write_text("old")
    program = (
        "import os, sys, signal\nfrom pathlib import Path\nimport lightplan.safe_write as s\n"
        "os.fsync = lambda handle: os.kill(os.getpid(), signal.SIGKILL)\n"
        "s.atomic_write(Path(sys.argv[1]), 'x' * 100_000, replace=True)\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(path)], check=False)
    assert done.returncode == -9
    assert path.read_text() == "old"


def test_of_many_that_want_a_name_at_once_one_gets_it(tmp_path):
    path, won, lost = tmp_path / "c.txt", [], []
    start = threading.Barrier(8)

    def write(number):
        start.wait()
        try:
            atomic_write(path, str(number) * 1000, replace=False)
        except FileExists:
            lost.append(number)
        else:
            won.append(number)

    threads = [threading.Thread(target=write, args=(i,)) for i in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(won), len(lost)) == (1, 7)
    assert path.read_text() == str(won[0]) * 1000
    assert [p.name for p in tmp_path.iterdir()] == ["c.txt"]


def test_rights_of_the_file_stay_and_new_ones_follow_the_mask(tmp_path):
    path = tmp_path / "c.txt"
    path.write_text("old")
    path.chmod(0o640)
    atomic_write(path, "new", replace=True)
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    mask = os.umask(0o027)
    try:
        atomic_write(tmp_path / "d.txt", "new", replace=False)
    finally:
        os.umask(mask)
    assert stat.S_IMODE((tmp_path / "d.txt").stat().st_mode) == 0o640
