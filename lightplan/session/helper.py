"""Long work in a child process: progress comes out, the wish to stop goes in.

One helper does one thing at a time. Its process stays, so that what was imported and learnt
serves the next piece of work; it ends with the process that began it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
import traceback
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeAlias

from lightplan.errors import LightplanError
from lightplan.progress import Progress, Stop, Stopped

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

Work: TypeAlias = Callable[..., Any]
"""Takes what it is given, and `watch`, `part` and `stop` by name; is a function of a module."""
Told: TypeAlias = Callable[[int, str, Any], None]
"""Is told the number of the work, and "progress", "part", "done", "refused", "stopped" or
"broken", with a Progress, a part of the result, the result, or a sentence."""

BEHIND_THE_HAND = 5
"""Niceness of a helper: the picture that follows the hand goes before it."""


class Helper:
    """A child process that works.

    Parameters
    ----------
    tell : callable
        Called from a thread of this object.
    """

    def __init__(self, tell: Told) -> None:
        self._tell = tell
        self._context = multiprocessing.get_context("spawn")
        self._lock = threading.Lock()
        self._process: Any = None
        self._connection: Connection | None = None
        self._stop: Any = None
        self._number = 0
        self.busy = False

    def begin(self, number: int, work: Work, *arguments: Any) -> None:
        """Give the helper something to do; it must not be busy.

        Parameters
        ----------
        number : int
            By which the caller knows the answers.
        work : callable
            A function of a module.
        """
        with self._lock:
            if self._process is None or not self._process.is_alive():
                self._start()
            assert self._connection is not None
            self._stop.clear()
            self._number, self.busy = number, True
            self._connection.send((number, work, arguments))

    def stop(self) -> None:
        """Ask the work to stop at its next step; does nothing when nothing is done."""
        if self._stop is not None and self.busy:
            self._stop.set()

    def close(self) -> None:
        """End the child process, whatever it does."""
        with self._lock:
            if self._process is None:
                return
            if self._connection is not None:
                with contextlib.suppress(OSError):
                    self._connection.close()
            self._process.terminate()
            self._process.join(timeout=5.0)
            self._process = self._connection = None

    def _start(self) -> None:
        ours, theirs = self._context.Pipe()
        self._stop = self._context.Event()
        self._process = self._context.Process(
            target=_work_on, args=(theirs, self._stop), name="lightplan helper", daemon=False
        )
        self._process.start()
        theirs.close()
        self._connection = ours
        threading.Thread(target=self._listen, args=(ours,), daemon=True).start()

    def _listen(self, connection: Connection) -> None:
        try:
            while True:
                number, kind, content = connection.recv()
                if kind not in ("progress", "part"):
                    self.busy = False
                self._tell(number, kind, content)
        except (EOFError, OSError, TypeError):  # TypeError: closed under our hands
            if self.busy and connection is self._connection:
                self.busy = False
                self._tell(self._number, "broken", "The work ended unexpectedly; start it again.")


def _work_on(connection: Connection, event: Any) -> None:
    """Do one piece of work after the other, until nobody listens; this is the child."""
    import os
    import signal

    if hasattr(os, "nice"):
        os.nice(BEHIND_THE_HAND)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that listens
    with contextlib.suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            number, work, arguments = connection.recv()
            connection.send((number, *_answer(connection, number, Stop(event), work, arguments)))


def _answer(
    connection: Connection, number: int, stop: Stop, work: Work, arguments: tuple[Any, ...]
) -> tuple[str, Any]:
    def watch(progress: Progress) -> None:
        stop.check()
        connection.send((number, "progress", progress))

    def part(content: Any) -> None:
        stop.check()
        connection.send((number, "part", content))

    try:
        return "done", work(*arguments, watch=watch, part=part, stop=stop)
    except LightplanError as error:
        return "refused", str(error)
    except (Stopped, KeyboardInterrupt):
        return "stopped", "Stopped."
    except OSError:
        raise  # nobody listens any more
    except Exception as error:  # the child must live on, and the maker be told
        traceback.print_exc()
        return "broken", f"This went wrong inside lightplan: {type(error).__name__}."
