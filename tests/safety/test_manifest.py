"""A maker's file is never lost, a second run always goes on, and an input is no output."""

import json
import signal
import subprocess
import sys
import tempfile
import threading

import pytest

from lightplan.errors import BadInput
from lightplan.manifest import NAME, FileChanged, check_free, remove_output, write_output
from lightplan.safe_write import FileExists, Scratch
from lightplan.tasks.folder import prepare, prepare_files


def names(folder):
    return sorted(p.name for p in folder.iterdir())


def test_a_result_is_renewed_while_it_is_as_we_left_it(tmp_path):
    path = tmp_path / "new" / "report.json"
    write_output(path, "one", replace=False)
    write_output(path, "two", replace=False)
    assert path.read_text() == "two"
    assert names(path.parent) == [NAME, "report.json"]


def test_a_result_that_the_maker_edited_is_not(tmp_path):
    path = tmp_path / "rig.toml"
    write_output(path, "one", replace=False)
    path.write_text("one, and a note of mine")
    for _ in range(2):  # nor the second time it is tried
        with pytest.raises(FileChanged, match="changed since"):
            write_output(path, "two", replace=False)
    with pytest.raises(FileChanged, match="--replace"):
        check_free(path, replace=False)
    assert path.read_text() == "one, and a note of mine"
    write_output(path, "two", replace=True)
    write_output(path, "three", replace=False)
    assert path.read_text() == "three"


def standing(path):
    """All that is told of a file, to the nanosecond, but when it was last looked at."""
    found = path.lstat()
    owned = (found.st_dev, found.st_ino, found.st_mode, found.st_nlink, found.st_uid, found.st_gid)
    return (*owned, found.st_size, found.st_mtime_ns, found.st_ctime_ns)


@pytest.mark.parametrize("kind", ["file", "folder", "link to a file", "link to nothing"])
def test_what_was_there_before_us_is_left(tmp_path, kind):
    path, other = tmp_path / "picture.png", tmp_path / "mine.png"
    other.write_text("mine")
    if kind == "file":
        path.write_text("mine")
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(other if kind == "link to a file" else tmp_path / "nothing")
    before = standing(path)
    with pytest.raises(FileExists):
        write_output(path, "ours", replace=False)
    assert standing(path) == before
    assert other.read_text() == "mine"


def test_a_broken_or_foreign_list_renews_nothing(tmp_path):
    path = tmp_path / "picture.png"
    for text in ["", "[]", '{"files": 3}', "[" * 100_000, "\x00\xff"]:
        path.write_text("mine")
        (tmp_path / NAME).write_text(text)
        with pytest.raises(FileExists):
            write_output(path, "ours", replace=False)
        assert path.read_text() == "mine"


@pytest.mark.parametrize("call", range(1, 9))
def test_after_a_kill_at_any_step_the_second_run_goes_on(tmp_path, call):
    """The process ends itself at the n-th call that changes the disk."""
    program = (
        "import os, sys, signal\nfrom pathlib import Path\nimport lightplan.safe_write\n"
        "from lightplan.manifest import write_output\nleft = int(sys.argv[2])\n"
        "def deadly(call):\n"
        "    def made(*a, **k):\n"
        "        global left\n"
        "        left -= 1\n"
        "        if left == 0: os.kill(os.getpid(), signal.SIGKILL)\n"
        "        return call(*a, **k)\n"
        "    return made\n"
        "for name in ('fsync', 'link', 'replace', 'chmod', 'rename'):\n"
        "    setattr(os, name, deadly(getattr(os, name)))\n"
        "write_output(Path(sys.argv[1]), 'new', replace=False)\n"
    )
    path = tmp_path / "setup.pdf"
    write_output(path, "old", replace=False)
    done = subprocess.run([sys.executable, "-c", program, str(path), str(call)], check=False)
    assert done.returncode in (-signal.SIGKILL, 0)
    assert path.read_text() in ("old", "new")
    prepare(tmp_path, [path.name])
    assert names(tmp_path) == [NAME, path.name]
    write_output(path, "again", replace=False)
    assert path.read_text() == "again"
    assert names(tmp_path) == [NAME, path.name]


def test_the_kills_above_hit(tmp_path):
    """With the program above, the first four steps at least are there to be killed at."""
    path = tmp_path / "a"
    write_output(path, "old", replace=False)
    assert len(json.loads((tmp_path / NAME).read_text())["files"]["a"]) == 1
    write_output(path, "new", replace=False)
    assert len(json.loads((tmp_path / NAME).read_text())["files"]["a"]) == 2


def test_many_at_once_lose_no_entry(tmp_path):
    def write(number):
        write_output(tmp_path / f"{number}.txt", str(number), replace=False)

    threads = [threading.Thread(target=write, args=(i,)) for i in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(json.loads((tmp_path / NAME).read_text())["files"]) == 16
    for number in range(16):
        check_free(tmp_path / f"{number}.txt", replace=False)


def test_what_passes_goes_and_leaves_no_trace(tmp_path):
    path = tmp_path / "best_so_far.png"
    write_output(path, "x", replace=False)
    prepare(tmp_path, [])  # as the run after a kill does
    assert names(tmp_path) == []
    path.write_text("mine")
    remove_output(path)
    prepare(tmp_path, [])
    assert path.read_text() == "mine"


def test_scraps_of_killed_runs_are_swept(tmp_path):
    for folder in (tmp_path, tmp_path / "thumbnails"):
        folder.mkdir(exist_ok=True)
        (folder / ".lightplan-abc.tmp").write_text("half")
    (tmp_path / ".lightplan-notes.txt").write_text("mine")
    prepare(tmp_path, [])
    assert names(tmp_path) == [".lightplan-notes.txt", "thumbnails"]
    assert names(tmp_path / "thumbnails") == []


def test_an_input_is_never_an_output(tmp_path):
    rig = tmp_path / "rig.toml"
    write_output(rig, "planned", replace=False)
    (tmp_path / "other").mkdir()
    link = tmp_path / "other" / "link.toml"
    link.symlink_to(rig)
    for inputs in ([rig], [link]):
        for replace in (False, True):
            with pytest.raises(BadInput, match="input itself"):
                prepare(tmp_path, ["rig.toml"], inputs=inputs, replace=replace)
            with pytest.raises(BadInput, match="input itself"):
                prepare_files([None, rig], inputs=inputs, replace=replace)


def test_one_name_for_two_results_is_refused(tmp_path):
    with pytest.raises(BadInput, match="two results of one name"):
        prepare_files([tmp_path / "a.pdf", tmp_path / "a.pdf"])


def test_the_folder_says_what_is_in_the_way(tmp_path):
    (tmp_path / "setup.pdf").write_text("mine")
    with pytest.raises(FileExists, match=r"without a setup\.pdf of yours"):
        prepare(tmp_path, ["setup.pdf"])
    prepare(tmp_path, ["setup.pdf"], replace=True)
    write_output(tmp_path / "rig.toml", "planned", replace=False)
    (tmp_path / "rig.toml").write_text("planned, then edited")
    with pytest.raises(FileExists, match=r"without a rig\.toml that you changed"):
        prepare(tmp_path, ["rig.toml"])


def test_folders_of_killed_processes_are_swept_and_those_of_living_ones_stay(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    program = (
        "import os, signal, sys, tempfile\ntempfile.tempdir = sys.argv[1]\n"
        "from lightplan.safe_write import Scratch\nScratch()\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=False)
    left = names(tmp_path)
    assert len(left) == 1
    first = Scratch()
    second = Scratch()
    assert names(tmp_path) == sorted([first.path.parent.name, second.path.parent.name])
    assert left[0] not in names(tmp_path)
    first.close()
    second.close()
    assert names(tmp_path) == []


def test_into_a_folder_of_a_process_it_writes_as_into_any_other():
    # whoever writes locks the folder, and the process's own lock must not be in the way
    program = (
        "from lightplan.manifest import write_output\n"
        "from lightplan.safe_write import Scratch\n"
        "scratch = Scratch()\n"
        "write_output(scratch.path / 'setup.pdf', b'a sheet', replace=False)\n"
        "print((scratch.path / 'setup.pdf').read_text())\nscratch.close()\n"
    )
    told = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, timeout=120, check=True
    )
    assert told.stdout == "a sheet\n"


KILLED = """
import os, signal, sys, tempfile
tempfile.tempdir = sys.argv[1]
from lightplan.session.folders import for_a_moment

with for_a_moment(b"a photograph", ".jpg"):
    os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_was_dropped_on_a_page_that_was_killed_is_gone_after_the_next_start(
    tmp_path, monkeypatch
):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    subprocess.run([sys.executable, "-c", KILLED, str(tmp_path)], check=False)
    (left,) = tmp_path.iterdir()
    assert [p.read_bytes() for p in left.glob("inside/*")] == [b"a photograph"]
    Scratch.sweep()
    assert names(tmp_path) == []
