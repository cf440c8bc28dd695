"""Ctrl-C that asks for the best so far instead of breaking off."""

from __future__ import annotations

import contextlib
import signal
import threading
from typing import TYPE_CHECKING

from lightplan.progress import Stop

if TYPE_CHECKING:
    from collections.abc import Iterator


@contextlib.contextmanager
def gentle_stop() -> Iterator[threading.Event]:
    """Yield an event that the first Ctrl-C sets; the second breaks off as usual.

    In another thread than the main one, where signals do not arrive, it is never set.
    """
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = signal.getsignal(signal.SIGINT)

    def ask(*_: object) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    signal.signal(signal.SIGINT, ask)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


@contextlib.contextmanager
def asking() -> Iterator[Stop]:
    """Yield a wish to stop that the first Ctrl-C makes; the second breaks off as usual."""
    with gentle_stop() as event:
        yield Stop(event)
