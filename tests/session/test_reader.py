"""Photographs are decoded in a process of their own: one that ends it is named, the rest goes on.

The deadly ones stand for a fault in a decoder: the process that meets one sends itself the signal
of a broken memory access.
"""

from __future__ import annotations

import io
import os
import signal
import time
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest

from lightplan.errors import LightplanError, PhotoError
from lightplan.session import messages
from lightplan.session.reader import Reader
from lightplan.tasks.photo_facts import small_picture

if TYPE_CHECKING:
    from collections.abc import Iterator

PATIENCE_S = 120.0
HOSTILE = """
import os, signal, sys, time
from lightplan.session import decoding

def thumb(path, usual=decoding.WAYS["thumb"]):
    if "deadly" in path.name:
        os.kill(os.getpid(), signal.SIGSEGV)
    if "endless" in path.name:
        time.sleep(600)
    if "greedy" in path.name:
        bytearray(2 * decoding.MEMORY_BYTES)
    if "faulty" in path.name:
        1 / 0
    if "talkative" in path.name:
        os.write(1, b"what a library prints")
    return usual(path)

decoding.WAYS["thumb"] = thumb
decoding.main()
"""


@pytest.fixture(scope="module")
def reader() -> Iterator[Reader]:
    reader = Reader(program=HOSTILE)
    reader.begin()
    yield reader
    reader.close()


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """A photograph of grain, which is neither black nor flat."""
    grain = np.random.default_rng(5).integers(0, 255, (60, 80, 3), np.uint8)
    cv2.imwrite(str(tmp_path / "plain.jpg"), cv2.resize(grain, (800, 600)))
    return tmp_path / "plain.jpg"


def named(photo: Path, name: str) -> Path:
    other = photo.with_name(name)
    other.write_bytes(photo.read_bytes())
    return other


def test_what_comes_back_is_what_would_be_read_here(reader, photo):
    found = reader.ask("thumb", photo).result(PATIENCE_S)
    assert found.bodies == (small_picture(photo, 480),)


def test_a_photograph_that_kills_the_process_is_named_and_the_rest_goes_on(reader, photo):
    reader.ask("thumb", photo).result(PATIENCE_S)
    before = reader.process_id
    asked = [reader.ask("thumb", named(photo, name)) for name in ("deadly.jpg", "next.jpg")]
    with pytest.raises(PhotoError, match=r"^deadly\.jpg: .* ends the program that reads it"):
        asked[0].result(PATIENCE_S)
    assert asked[1].result(PATIENCE_S).bodies
    assert reader.process_id != before


def test_one_that_is_killed_from_outside_blames_nobody(reader, photo):
    reader.ask("thumb", photo).result(PATIENCE_S)
    os.kill(reader.process_id, signal.SIGKILL)
    assert reader.ask("thumb", photo).result(PATIENCE_S).bodies


def test_what_takes_too_long_is_ended_and_named(photo):
    reader = Reader(program=HOSTILE, patience_s=3.0)
    asked = [reader.ask("thumb", named(photo, name)) for name in ("endless.jpg", "next.jpg")]
    with pytest.raises(PhotoError, match=r"^endless\.jpg: .* takes longer than 3 s"):
        asked[0].result(PATIENCE_S)
    assert asked[1].result(PATIENCE_S).bodies
    reader.close()


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("greedy.jpg", r"^greedy\.jpg: .* within 3 GB of memory \(got one that takes more\)"),
        ("faulty.jpg", r"^faulty\.jpg: reading it broke off \(ZeroDivisionError"),
        ("missing.jpg", r"^missing\.jpg: the file must be a photograph \(got no such file\)"),
    ],
)
def test_what_cannot_be_read_is_told_and_the_process_stays(reader, photo, name, says):
    reader.ask("thumb", photo).result(PATIENCE_S)
    before = reader.process_id
    path = photo.with_name(name) if name == "missing.jpg" else named(photo, name)
    with pytest.raises(LightplanError, match=says):
        reader.ask("thumb", path).result(PATIENCE_S)
    assert reader.process_id == before


def test_what_a_library_prints_is_no_answer(reader, photo):
    assert reader.ask("thumb", named(photo, "talkative.jpg")).result(PATIENCE_S).bodies


def test_a_program_that_does_not_begin_is_told_as_that():
    reader = Reader(program="raise SystemExit(1)")
    with pytest.raises(LightplanError, match="cannot be read now"):
        reader.ask("thumb", Path("any.jpg")).result(PATIENCE_S)
    reader.close()


def test_closing_ends_the_process_in_the_midst_of_a_photograph(photo):
    reader = Reader(program=HOSTILE)
    reader.ask("thumb", photo).result(PATIENCE_S)
    process = reader.process_id
    asked = reader.ask("thumb", named(photo, "endless.jpg"))
    time.sleep(0.3)  # until it is at it
    begun = time.monotonic()
    reader.close()
    with pytest.raises(LightplanError):
        asked.result(PATIENCE_S)
    assert time.monotonic() - begun < 60  # the photograph would take 600
    assert not Path(f"/proc/{process}").exists()
    with pytest.raises(LightplanError, match="has ended"):
        reader.ask("thumb", photo)


def message(facts: bytes, *bodies: bytes) -> io.BytesIO:
    return io.BytesIO(b"".join((len(facts).to_bytes(4, "little"), facts, *bodies)))


def test_messages_come_back_as_they_were_sent():
    stream = io.BytesIO()
    messages.write(stream, {"is": "read"}, b"one", b"")
    stream.seek(0)
    assert messages.read(stream) == ({"is": "read"}, (b"one", b""))
    with pytest.raises(EOFError):
        messages.read(stream)


@pytest.mark.parametrize(
    "stream",
    [
        message(b"[]"),
        message(b"{}"),
        message(b'{"sizes": [-1]}'),
        message(b'{"sizes": [true]}', b"x"),
        message(b'{"sizes": [1e300]}'),
        message(b'{"sizes": [999999999]}'),
        message(b'{"sizes": [], "lux": NaN}'),
        message(b"cno\nsuch\n."),  # a pickle is not listened to
        io.BytesIO(b"\xff\xff\xff\xff"),
    ],
)
def test_a_process_that_was_taken_over_can_say_nothing_else(stream):
    with pytest.raises(ValueError):  # noqa: PT011 - of many kinds
        messages.read(stream)
