"""Pieces of work that a child process can be given; it finds them by name."""

from __future__ import annotations

import contextlib
import os
import time
from typing import Any

from lightplan.errors import RigError
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
