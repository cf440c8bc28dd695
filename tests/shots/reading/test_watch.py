"""New frames of a watched folder are judged within a second or two of landing."""

from __future__ import annotations

import shutil
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from lightplan.errors import BadInput
from lightplan.shots.sets.new_frames import new_files, watch_folder

HERE = Path(__file__).parent


@pytest.fixture
def judges(monkeypatch):
    monkeypatch.syspath_prepend(str(HERE))
    import judging_examples

    return judging_examples


def pictures(folder: Path, save, astronaut) -> list[Path]:
    folder.mkdir()
    made = []
    for i, gain in enumerate((0.5, 0.9)):
        pixels = (astronaut * gain).astype(np.uint8)
        made.append(save(folder / f"frame{i}.jpg", pixels, quality=90))
    return made


def test_new_frames_are_scored_within_two_seconds_and_compared(tmp_path, judges, save, astronaut):
    first, second = pictures(tmp_path / "from", save, astronaut)
    folder = tmp_path / "shoot"
    folder.mkdir()
    shutil.copy(first, folder / "old.jpg")  # was there before: not judged
    stop, ready = threading.Event(), threading.Event()
    landed = {}

    def camera() -> None:
        ready.wait(20)
        for source in (first, second):
            time.sleep(0.3)
            landed[source.name] = time.monotonic()
            slowly(source, folder / source.name)

    def slowly(source: Path, to: Path) -> None:
        """Write as a tethered camera does: in pieces, with pauses."""
        raw = source.read_bytes()
        with Path(to).open("wb") as file:
            for part in np.array_split(np.frombuffer(raw, np.uint8), 4):
                file.write(part.tobytes())
                file.flush()
                time.sleep(0.1)

    thread = threading.Thread(target=camera)
    thread.start()
    seen = []
    for one in watch_folder(folder, judges.as_score, stop=stop, on_ready=ready.set):
        seen.append((one, time.monotonic()))
        if len(seen) == 2:
            stop.set()
    thread.join()
    assert [one.photo.file for one, _ in seen] == ["frame0.jpg", "frame1.jpg"]
    assert all(one.photo.error is None for one, _ in seen)
    for one, at in seen:
        assert at - landed[one.photo.file] < 0.4 + 2.0  # writing took 0.4 s
        assert one.delay_s < 2.0
    assert seen[0][0].changes is None
    changes = seen[1][0].changes
    assert changes.before == "frame0.jpg"
    assert changes.clear
    assert changes.score == pytest.approx(seen[1][0].photo.score - seen[0][0].photo.score)


def test_a_broken_frame_is_reported_and_the_watch_goes_on(tmp_path, judges, save, astronaut):
    folder = tmp_path / "shoot"
    folder.mkdir()
    (folder / "a_broken.jpg").write_bytes(b"\xff\xd8 half a picture")
    save(folder / "b_good.jpg", astronaut)
    (folder / "notes.txt").write_text("not a photograph")
    stop, seen = threading.Event(), []
    for one in watch_folder(folder, judges.as_score, stop=stop, include_present=True):
        seen.append(one.photo)
        if len(seen) == 2:
            stop.set()
    assert [p.file for p in seen] == ["a_broken.jpg", "b_good.jpg"]
    assert str(seen[0].error).startswith("a_broken.jpg: the file must be")
    assert seen[1].score is not None


def test_files_that_are_renamed_into_place_count_once(tmp_path):
    stop, ready = threading.Event(), threading.Event()

    def program() -> None:
        ready.wait(10)
        (tmp_path / "new.part").write_bytes(b"1234\xff\xd9")  # with the end mark of a JPEG
        (tmp_path / "new.part").rename(tmp_path / "new.jpg")
        (tmp_path / "gone.jpg").write_bytes(b"12")
        (tmp_path / "gone.jpg").unlink()
        time.sleep(1.2)
        stop.set()

    thread = threading.Thread(target=program)
    thread.start()
    found = [p.name for p in new_files(tmp_path, stop=stop, on_ready=ready.set)]
    thread.join()
    assert found == ["new.jpg"]


def test_a_missing_folder_is_named(tmp_path, judges):
    with pytest.raises(BadInput, match=r"the folder to watch must be a folder \(got .*gone"):
        next(watch_folder(tmp_path / "gone", judges.as_score, stop=threading.Event()))
