"""Pieces of work that a child process can be given; it finds them by name."""

from __future__ import annotations

import contextlib
import os
import time
from pathlib import Path
from typing import Any

from lightplan.artwork.decode import decoded
from lightplan.errors import ArtworkError, RigError
from lightplan.progress import Progress


def count(to: int, *, watch: Any, part: Any, stop: Any) -> int:
    for i in range(to):
        watch(Progress(stage="counting", done=i, of=to))
        part(i)
    return to


def wait(*, watch: Any, part: Any, stop: Any) -> None:
    watch(Progress(stage="waiting"))
    while True:
        time.sleep(0.01)
        stop.check()


def refuse(*, watch: Any, part: Any, stop: Any) -> None:
    raise RigError(field="x", wanted="1", got=2, cure="set it")


def fail(*, watch: Any, part: Any, stop: Any) -> None:
    raise ZeroDivisionError


def die(*, watch: Any, part: Any, stop: Any) -> None:
    os._exit(3)


def stand_still(*, watch: Any, part: Any, stop: Any) -> None:
    """Hold whatever lock the wish to stop may have, and do nothing more."""
    lock = getattr(stop._event, "_cond", contextlib.nullcontext())
    with lock:
        part("holding")
        time.sleep(600)


def squared(value: Any) -> tuple[int, int]:
    """Return a square and the process that worked it out."""
    return value * value, os.getpid()


class Adder:
    """Adds to what was given at the beginning; takes a moment, so that all have some."""

    def __init__(self, start: int, *, stop: Any) -> None:
        self.start = start

    def __call__(self, value: int) -> tuple[int, int]:
        time.sleep(0.05)
        return self.start + value, os.getpid()


def dies_elsewhere(parent: int) -> str:
    """End the process unless it is a certain one."""
    if os.getpid() != parent:
        os._exit(3)
    time.sleep(0.3)
    return "done here"


def slowly(seconds: float) -> float:
    """Take so long."""
    time.sleep(seconds)
    return seconds


def tells_its_number(path: str, parent: int) -> None:
    """Write the number of this process, unless it is a certain one, and work on without end."""
    if os.getpid() != parent:
        made = Path(f"{path}.part")
        made.write_text(str(os.getpid()))
        made.replace(path)
    time.sleep(600)


def artwork_or_refusal(path: Path) -> Any:
    """Return what is decoded, or what was wanted, what came and the cure."""
    try:
        return decoded(path)
    except ArtworkError as error:
        return error.wanted, str(error.got), error.cure
