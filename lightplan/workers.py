"""A few processes that each do whole jobs of one kind; this process works with them."""

from __future__ import annotations

import contextlib
import importlib
import os
import pickle
import queue
import signal
import subprocess
import threading
from typing import TYPE_CHECKING, Any, BinaryIO, Self, cast

from lightplan.process import THREAD_SETTINGS, end_with_asker, keep_memory, python_that_runs
from lightplan.progress import Stop

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

KEPT_BYTES = 256 << 20
_MAIN = "import sys; from lightplan.workers import main; main(sys.argv[1])"


class Workers:
    """Runs a function over jobs in as many processes as asked for, this one among them.

    Parameters
    ----------
    function : str
        "module:name"; it takes a job's values and gives what can be pickled.
    count : int
        Processes, this one counted.
    begin : tuple or None
        Where given, `function` is called with it and `stop` once in each process, and gives
        what does the jobs: what they have in common is then sent and worked out once.
    stop : Stop or None
        Once it is asked for, no job is begun, and those of other processes are given up.
    """

    def __init__(
        self,
        function: str,
        count: int,
        *,
        begin: tuple[Any, ...] | None = None,
        stop: Stop | None = None,
    ) -> None:
        self._stop = Stop() if stop is None else stop
        self._children = [_Child(function, begin) for _ in range(max(0, count - 1))]
        self._do = _doing(function, begin, self._stop)

    def answers(self, jobs: Sequence[tuple[Any, ...]]) -> Iterator[tuple[int, Any]]:
        """Yield the number of a job and its answer, as they come.

        Jobs that a dying process had, or that cannot be sent to one, are done here.
        """
        waiting: queue.SimpleQueue[tuple[int, tuple[Any, ...]]] = queue.SimpleQueue()
        for numbered in enumerate(jobs):
            waiting.put(numbered)
        done: queue.SimpleQueue[tuple[int, Any]] = queue.SimpleQueue()
        threads = [
            threading.Thread(target=child.serve, args=(waiting, done, self._stop), daemon=True)
            for child in self._children
        ]
        for thread in threads:
            thread.start()
        left = len(jobs)
        while left and not self._stop.asked:
            try:
                number, job = waiting.get_nowait()
            except queue.Empty:
                break
            answer = self._do(*job)
            left -= 1
            yield number, answer
            while not done.empty():
                left -= 1
                yield self._or_done_here(*done.get())
        while left and not self._stop.asked:
            try:
                found = done.get(timeout=0.2)
            except queue.Empty:
                continue
            left -= 1
            yield self._or_done_here(*found)

    def _or_done_here(self, number: int, found: Any) -> tuple[int, Any]:
        return number, self._do(*found.job) if isinstance(found, _Lost) else found

    def close(self) -> None:
        """End the processes."""
        for child in self._children:
            child.close()

    def __enter__(self) -> Self:
        """Return this."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the processes."""
        self.close()


def _doing(function: str, begin: tuple[Any, ...] | None, stop: Stop) -> Callable[..., Any]:
    found = function_of(function)
    if begin is None:
        return found
    made: Callable[..., Any] = found(*begin, stop=stop)
    return made


class _Lost:
    """A job whose process died."""

    def __init__(self, job: tuple[Any, ...]) -> None:
        self.job = job


class _Child:
    """One process and its pipes."""

    def __init__(self, function: str, begin: tuple[Any, ...] | None) -> None:
        self._begin = pickle.dumps(begin, pickle.HIGHEST_PROTOCOL)
        self._process = subprocess.Popen(
            python_that_runs(_MAIN, function),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
        )

    def serve(
        self,
        waiting: queue.SimpleQueue[tuple[int, tuple[Any, ...]]],
        done: queue.SimpleQueue[tuple[int, Any]],
        stop: Stop,
    ) -> None:
        """Hand jobs over, one after the other, until none waits."""
        while not stop.asked:
            try:
                number, job = waiting.get_nowait()
            except queue.Empty:
                return
            try:
                assert self._process.stdin is not None
                assert self._process.stdout is not None
                # written where the first job is: a child that is starting holds nobody up
                self._process.stdin.write(self._begin)
                self._begin = b""
                pickle.dump(job, self._process.stdin, pickle.HIGHEST_PROTOCOL)
                self._process.stdin.flush()
                done.put((number, pickle.load(self._process.stdout)))
            except (OSError, EOFError, ValueError, TypeError, AttributeError, pickle.PickleError):
                done.put((number, _Lost(job)))
                return

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:
                    continue


def function_of(name: str) -> Callable[..., Any]:
    """Return a function by "module:name"."""
    module, _, attribute = name.partition(":")
    found: Callable[..., Any] = getattr(importlib.import_module(module), attribute)
    return found


def main(name: str) -> None:
    """Do jobs from standard input until it ends, or until who asked for them is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asked
    end_with_asker()
    keep_memory(KEPT_BYTES)
    orders, answers = os.dup(0), os.dup(1)
    # who asked may be killed at any moment: then nobody waits, and nobody is to be told
    with (
        contextlib.suppress(BrokenPipeError, EOFError, pickle.UnpicklingError),
        os.fdopen(orders, "rb") as jobs,
        os.fdopen(answers, "wb") as done,
    ):
        do = _doing(name, pickle.load(jobs), Stop())
        while True:
            pickle.dump(do(*pickle.load(jobs)), cast("BinaryIO", done), pickle.HIGHEST_PROTOCOL)
            done.flush()
