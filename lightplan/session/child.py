"""Long work in a child process: progress comes out, the wish to stop goes in.

One helper does one thing at a time. Its process stays, so that what was imported and learnt
serves the next piece of work; it ends with the process that began it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import queue
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

_Order: TypeAlias = tuple[int, Work, tuple[Any, ...]]

PATIENCE_S = 1.0
"""How long a child that was asked to end is waited for before it is ended."""
BEHIND_THE_HAND = 5
"""Niceness of a helper: the picture that follows the hand goes before it."""


class ChildWish:
    """The wish to stop, seen by two processes: one byte that both have, without a lock.

    An event of the standard library has a lock that the child holds while it looks; one that is
    ended just then would leave whoever asks it to stop, the page, waiting for ever.
    """

    def __init__(self, context: Any) -> None:
        self._byte = context.RawValue("b", 0)

    def is_set(self) -> bool:
        """Return whether somebody asked."""
        return bool(self._byte.value)

    def set(self) -> None:
        """Ask."""
        self._byte.value = 1

    def clear(self) -> None:
        """Ask no more."""
        self._byte.value = 0


class ChildProcess:
    """A child process that works.

    A thread of its own begins the child, hands over each piece of work and listens: beginning a
    child takes a second, and whoever asks for work must not wait for that.

    Parameters
    ----------
    tell : callable
        Called from that thread.
    """

    def __init__(self, tell: Told) -> None:
        self._tell = tell
        self._context = multiprocessing.get_context("spawn")
        self._orders: queue.SimpleQueue[_Order | None] = queue.SimpleQueue()
        self._lock = threading.Lock()  # one thread begins the process, another may end it
        self._process: Any = None
        self._connection: Connection | None = None
        self._stop: ChildWish | None = None
        self._number = 0
        self._unwanted: int | None = None
        self._closed = False
        self.busy = False
        self._thread: threading.Thread | None = None

    def begin(self, number: int, work: Work, *arguments: Any) -> None:
        """Give the helper something to do; it must not be busy. Returns at once.

        Parameters
        ----------
        number : int
            By which the caller knows the answers.
        work : callable
            A function of a module.
        """
        with self._lock:
            if self._closed:
                return
            self._number, self.busy = number, True
            self._orders.put((number, work, arguments))
            if self._thread is None:
                self._thread = threading.Thread(target=self._run, name="helper", daemon=True)
                self._thread.start()

    def stop(self) -> None:
        """Ask the work to stop at its next step; does nothing when nothing is done."""
        with self._lock:
            if self.busy:
                self._unwanted = self._number
                if self._stop is not None:
                    self._stop.set()

    def close(self) -> None:
        """End the child process, whatever it does; nothing can be begun afterwards."""
        with self._lock:
            self._closed = True
            self._orders.put(None)
            process = self._process
        if process is not None:
            process.terminate()
            process.join(timeout=PATIENCE_S)
            if process.is_alive():
                process.kill()
                process.join(timeout=PATIENCE_S)

    def _run(self) -> None:
        while (order := self._orders.get()) is not None:
            try:
                connection = self._handed_over(order)
                if connection is None:
                    return  # closed meanwhile
                kind, content = self._heard_out(connection)
            except Exception as error:  # noqa: BLE001 - the child is gone, or the work cannot be handed over
                if self._closed:
                    return
                if not isinstance(error, EOFError | OSError):
                    traceback.print_exc()
                kind, content = "broken", "The work ended unexpectedly; start it again."
            self.busy = False
            self._tell(order[0], kind, content)

    def _handed_over(self, order: _Order) -> Connection | None:
        """Give the child its work, and begin a child first where there is none."""
        with self._lock:
            if self._closed:
                return None
            if self._process is None or not self._process.is_alive():
                self._start()
            connection, wish = self._connection, self._stop
            assert connection is not None
            assert wish is not None
            if self._unwanted == order[0]:
                wish.set()
            else:
                wish.clear()
        connection.send(order)
        return connection

    def _heard_out(self, connection: Connection) -> tuple[str, Any]:
        """Pass on what the child tells of its work; return how that ended."""
        while True:
            number, kind, content = connection.recv()
            if kind not in ("progress", "part"):
                return kind, content
            self._tell(number, kind, content)

    def _start(self) -> None:
        if self._connection is not None:
            self._connection.close()
        ours, theirs = self._context.Pipe()
        self._stop = ChildWish(self._context)
        self._process = self._context.Process(
            target=_work_on, args=(theirs, self._stop), name="lightplan helper", daemon=False
        )
        self._process.start()
        theirs.close()
        self._connection = ours


def _work_on(connection: Connection, wish: ChildWish) -> None:
    """Do one piece of work after the other, until nobody listens; this is the child."""
    import os
    import signal

    if hasattr(os, "nice"):
        os.nice(BEHIND_THE_HAND)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that listens
    with contextlib.suppress(EOFError, OSError, KeyboardInterrupt):
        while True:
            number, work, arguments = connection.recv()
            connection.send((number, *_answer(connection, number, Stop(wish), work, arguments)))


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
    except Exception as error:  # noqa: BLE001 - the child must live on, and the maker be told
        traceback.print_exc()
        return "broken", f"This went wrong inside lightplan: {type(error).__name__}."
