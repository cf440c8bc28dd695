"""Names that no maker would type, but a card reader or a prankster leaves."""

import csv
import io
import json
import os
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import PhotoError
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.sets.journal import photograph_key
from lightplan.shots.sets.new_frames import new_files
from lightplan.shown import printable, writable

NAMES = {
    b"IMG_\xff\xfe.jpg": "IMG_\\xff\\xfe.jpg",
    b"esc\x1b[2J\x07.jpg": "esc\x1b[2J\x07.jpg",
    b"two\nlines.jpg": "two\nlines.jpg",
    b"=HYPERLINK(1).jpg": "=HYPERLINK(1).jpg",
    b"<img src=x onerror=alert(1)>.jpg": "<img src=x onerror=alert(1)>.jpg",
    ("ä" * 120 + ".jpg").encode(): "ä" * 120 + ".jpg",
    "dlo\u202egpj.jpg".encode(): "dlo\u202egpj.jpg",
    b"[red]markup[bold].jpg": "[red]markup[bold].jpg",
}
GOOD = (b"IMG_\xff\xfe.jpg", b"two\nlines.jpg")
NO_FILES = {
    "loop.jpg": "leads nowhere",
    "gone.jpg": "leads nowhere",
    "folder.jpg": "a folder",
    "pipe.jpg": "no ordinary file",
    "empty.jpg": "an empty file",
}


@pytest.fixture
def odd(tmp_path):
    """A folder with a file under every name, some of them photographs, and things that are none."""
    folder = tmp_path / "shots"
    folder.mkdir()
    pixels = np.full((80, 120, 3), 20, np.uint8)
    pixels[16:64, 24:96] = 180
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "jpeg")
    for name in NAMES:
        with Path(os.fsdecode(os.fsencode(folder) + b"/" + name)).open("wb") as made:
            made.write(file.getvalue() if name in GOOD else b"\xff\xd8 and no more")
    (folder / "loop.jpg").symlink_to("loop.jpg")
    (folder / "gone.jpg").symlink_to("nothing.jpg")
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    (folder / "empty.jpg").write_bytes(b"")
    return folder


def test_every_photograph_is_judged_or_refused_by_name(odd, tmp_path, lightplan):
    out = tmp_path / "out"
    said = lightplan("score", odd, "--out", out, "--workers", 1, "--size", "120x80")
    assert said.code == 1  # done, and those that are no photographs are named
    told = {one["file"]: one for one in json.loads((out / "scores.json").read_text("utf-8"))}
    assert set(told) == set(NAMES.values()) | set(NO_FILES)
    assert [name for name in NAMES if told[NAMES[name]]["error"] is None] == list(GOOD)
    assert all(why in told[name]["error"] for name, why in NO_FILES.items())
    with (out / "scores.csv").open(newline="", encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == len(told)
    assert "\x1b" not in said.out
    assert "\u202e" not in said.out
    again = lightplan("score", odd, "--out", out, "--workers", 1, "--size", "120x80", "--json")
    assert again.document()["photographs"] == len(told)  # resumed, and named in plain ASCII
    assert again.out.isascii()


def test_a_shells_star_that_names_them_one_by_one_ends_nothing(odd, tmp_path, lightplan):
    out = tmp_path / "out"
    each = sorted(odd.iterdir(), key=lambda path: os.fsencode(path.name))
    lightplan("score", *each, "--out", out, "--workers", 1, "--size", "120x80")
    told = {one["file"] for one in json.loads((out / "scores.json").read_text("utf-8"))}
    assert told == (set(NAMES.values()) | set(NO_FILES)) - {"folder.jpg"}


def test_a_name_that_is_not_there_at_all_is_told_before_anything_is_judged(
    odd, tmp_path, lightplan
):
    said = lightplan("score", odd, odd / "IMG_0O1.jpg", "--out", tmp_path / "out")
    assert said.code == 2
    assert "IMG_0O1.jpg" in said.err
    assert not list((tmp_path / "out").glob("scores*"))


@pytest.mark.parametrize("name", NO_FILES)
def test_what_is_no_photograph_says_what_it_is(odd, name):
    with pytest.raises(PhotoError, match=NO_FILES[name]):
        read_shot(odd / name)
    assert len(photograph_key(odd / name, "")) == 32


def test_a_watch_outlives_them(odd, tmp_path):
    stop, ready, seen = threading.Event(), threading.Event(), []
    folder = tmp_path / "landing"
    folder.mkdir()

    def camera():
        ready.wait(20)
        for path in odd.iterdir():
            path.rename(folder / path.name)
            time.sleep(0.02)
        end = time.monotonic() + 20
        while not set(NAMES) <= set(seen) and time.monotonic() < end:
            time.sleep(0.05)
        stop.set()

    thread = threading.Thread(target=camera)
    thread.start()
    for path in new_files(folder, stop=stop, on_ready=ready.set):
        seen.append(os.fsencode(path.name))
    thread.join()
    # an empty file may still be on its way: it is told when it has been given time
    assert sorted(set(seen) - {b"empty.jpg"}) == sorted(NAMES)
    assert len(seen) == len(set(seen))


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\x9b31m", "\\x9b31m"),  # the same as ESC [ in eight bits
        ("a\u2066b\u2069", "a\\u2066b\\u2069"),
        ("\U000e0041", "\\U000e0041"),  # an unseen tag
        ("\ud800", "\\ud800"),
        ("für 5 µm – ok 👍", "für 5 µm – ok 👍"),
    ],
)
def test_nothing_that_a_terminal_acts_on_is_shown(text, shown):
    assert printable(text) == shown
    writable(text).encode()
