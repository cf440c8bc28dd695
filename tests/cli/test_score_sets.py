"""Sets of photographs through the command: two folders, brackets, strays, a killed run."""

import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
from PIL import Image

ROOT = Path(__file__).parents[2]
SIZE = ("--size", "148x105")
EXIF = {"time": 33434, "f_number": 33437, "iso": 34855}  # tags of the Exif standard, CIPA DC-008


def drawing() -> np.ndarray:
    """Foil of an invented gift tag, (525, 740) uint8."""
    art = np.zeros((525, 740), np.uint8)
    cv2.circle(art, (370, 190), 100, 255, -1, cv2.LINE_AA)
    cv2.circle(art, (370, 190), 60, 0, 14, cv2.LINE_AA)
    cv2.putText(art, "Plum & Fern", (130, 420), cv2.FONT_HERSHEY_TRIPLEX, 2.3, 255, 8, cv2.LINE_AA)
    return art


def photograph(path: Path, *, stops=0.0, tint=(1.0, 1.0, 1.0), slope=0.0, time_s=0.02, seed=0):
    """Write a JPEG of the tag on a dark table; the pixels may disagree with the time."""
    rng = np.random.default_rng(seed)
    art = drawing()[..., None] / 255
    x = np.linspace(-1, 1, art.shape[1])[None, :, None]
    sheet = (0.42 + art * (0.62 - 0.42)) * 2 ** (slope * x) * np.array(tint)
    corners = np.array([[152, 64], [771, 97], [748, 536], [129, 503]], np.float32)  # from above
    ends = np.array([[0, 0], [740, 0], [740, 525], [0, 525]], np.float32) - 0.5
    plane = cv2.getPerspectiveTransform(ends, corners)
    light = np.full((600, 900, 3), 0.03, np.float32)
    seen = cv2.warpPerspective(sheet.astype(np.float32), plane, (900, 600), borderValue=(-1,) * 3)
    light = np.where(seen >= 0, seen, light) * 2**stops
    light = cv2.GaussianBlur(light, (0, 0), 0.6)
    light += rng.normal(0, 0.002, light.shape)
    clear = np.clip(light, 0, 1)
    coded = np.where(
        clear <= 0.0031308, 12.92 * clear, 1.055 * np.maximum(clear, 1e-6) ** (1 / 2.4) - 0.055
    )
    exif = Image.Exif()
    inside = exif.get_ifd(34665)
    inside[EXIF["time"]], inside[EXIF["f_number"]], inside[EXIF["iso"]] = time_s, 8.0, 100
    picture = Image.fromarray(np.uint8(np.rint(255 * coded)))
    picture.save(path, quality=95, exif=exif)


@pytest.fixture
def art(tmp_path):
    path = tmp_path / "art.png"
    Image.fromarray(drawing()).save(path)
    return path


@pytest.fixture
def folder(tmp_path):
    def make(name):
        (tmp_path / name).mkdir()
        return tmp_path / name

    return make


def scored(lightplan, tmp_path, art, *places):
    said = lightplan(
        "score",
        *places,
        "--artwork",
        art,
        *SIZE,
        "--workers",
        "1",
        "--out",
        tmp_path / "s",
        "--json",
    )
    assert said.code == 0, said.err
    return said.document()


def flags_of(document):
    return {one["file"]: [f["kind"] for f in one["flags"]] for one in document["ranked"]}


def test_two_folders_are_compared_with_reasons(lightplan, tmp_path, art, folder):
    lamps, window = folder("lamps"), folder("window")
    for i in range(3):
        photograph(lamps / f"a{i}.jpg", seed=i)
        photograph(window / f"b{i}.jpg", seed=i, slope=0.75, stops=-0.75, tint=(0.86, 1.0, 1.2))
    told = scored(lightplan, tmp_path, art, lamps, "--against", window)
    assert (len(told["ranked"]), len(told["against"])) == (3, 3)
    assert told["comparison"]["better"] == "lamps"
    assert "lamps" in told["comparison"]["sentence"]
    assert told["comparison"]["reasons"]
    page = (tmp_path / "s" / "contact_sheet.html").read_text()
    assert told["comparison"]["sentence"] in page


def test_a_bracket_whose_times_do_not_fit_is_flagged(lightplan, tmp_path, art, folder):
    """One stop more time is one stop more light (ISO 12232); one frame has a wrong time."""
    bracket = folder("bracket")
    for i, stops in enumerate((-2, -1, 0, 0.6, -1.5)):
        time_s = 0.02 * 2.0**stops
        photograph(bracket / f"f{i}.jpg", stops=stops, seed=i, time_s=time_s if i != 1 else 0.06)
    flags = flags_of(scored(lightplan, tmp_path, art, bracket))
    assert flags["f1.jpg"] == ["bracket"]
    assert not any(kinds for name, kinds in flags.items() if name != "f1.jpg")


def test_frames_that_left_the_set_are_flagged(lightplan, tmp_path, art, folder):
    frames = folder("frames")
    for i in range(6):
        photograph(frames / f"f{i}.jpg", seed=i)
    photograph(frames / "dim.jpg", stops=-1.0, seed=7)
    photograph(frames / "warm.jpg", tint=(1.12, 1.0, 0.8), seed=8)
    flags = flags_of(scored(lightplan, tmp_path, art, frames))
    assert flags["dim.jpg"] == ["exposure"]
    assert flags["warm.jpg"] == ["white balance"]
    assert not any(flags[f"f{i}.jpg"] for i in range(6))


@pytest.mark.skipif(os.name != "posix", reason="signals of Unix")
def test_a_killed_command_goes_on_where_it_stopped(lightplan, tmp_path, art, folder):
    frames = folder("frames")
    for i in range(10):
        photograph(frames / f"f{i:02d}.jpg", seed=i, stops=-0.02 * i)

    def words(out, workers=1):
        options = ["--artwork", str(art), *SIZE, "--workers", str(workers)]
        return ["score", str(frames), *options, "--out", str(tmp_path / out), "--json"]

    def command(*asked):
        return [sys.executable, "-m", "lightplan", *words(*asked)]

    where = {"cwd": ROOT, "stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL, "text": True}
    run = subprocess.Popen(command("s"), **where)
    until = time.monotonic() + 60
    while len(journal(tmp_path / "s")) < 3 and time.monotonic() < until:
        time.sleep(0.02)
    run.send_signal(signal.SIGKILL)
    run.communicate(timeout=20)
    before = journal(tmp_path / "s")
    assert 3 <= len(before) < 10  # it was killed on the way
    subprocess.run(command("s", 2), check=True, timeout=120, **where)
    after = journal(tmp_path / "s")
    assert after[: len(before)] == before
    assert len(after) == 10  # nothing was judged twice
    assert lightplan(*words("fresh")).code == 0
    assert without_times(tmp_path / "s") == without_times(tmp_path / "fresh")


def without_times(folder: Path) -> tuple[str, str]:
    """Return scores.json and scores.csv as they stand, the times it took struck out."""
    told = (folder / "scores.json").read_text()
    assert '"score": null' not in told
    return re.sub(r'"seconds": [0-9.e-]+', "", told), (folder / "scores.csv").read_text()


def test_frames_scored_before_by_themselves_are_scored_as_in_a_fresh_run(
    lightplan, tmp_path, art, folder
):
    """Frames help each other; results that another frame helped to are not taken over."""
    frames = folder("frames")
    for i in range(4):
        photograph(frames / f"f{i}.jpg", seed=i, stops=-0.1 * i)
    some = sorted(frames.iterdir())[2:]
    options = ("--artwork", art, *SIZE, "--workers", "1")
    for places, out in ((some, "s"), ([frames], "s"), ([frames], "fresh")):
        said = lightplan("score", *places, *options, "--out", tmp_path / out, "--replace")
        assert said.code == 0, said.err
    assert without_times(tmp_path / "s") == without_times(tmp_path / "fresh")


def test_a_journal_knows_photographs_by_any_way_to_them(
    lightplan, tmp_path, art, folder, monkeypatch
):
    frames = folder("frames")
    photograph(frames / "f0.jpg")
    options = ("--artwork", art, *SIZE, "--workers", "1", "--replace")
    monkeypatch.chdir(tmp_path)
    for place, out in (("frames", "s"), (frames, "s"), (frames, "fresh")):
        assert lightplan("score", place, *options, "--out", tmp_path / out).code == 0
    assert without_times(tmp_path / "s") == without_times(tmp_path / "fresh")
    assert len(journal(tmp_path / "s")) == 1


def journal(folder: Path) -> list[str]:
    """Whole lines of the journal, those that a kill left torn not counted."""
    files = list(folder.glob("*.jsonl"))
    text = files[0].read_text() if files else ""
    return [line for line in text.splitlines(keepends=True) if line.endswith("\n")]
