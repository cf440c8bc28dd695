"""A few processes that each do whole jobs of one kind; this process works with them."""

from __future__ import annotations

import importlib
import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
from typing import TYPE_CHECKING, Any, BinaryIO, Self, cast

from lightplan.process import THREAD_SETTINGS, keep_memory

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from lightplan.progress import Stop

KEPT_BYTES = 256 << 20
_MAIN = "import sys; from lightplan.tasks.workers import main; main(sys.argv[1])"


class Workers:
    """Runs a function over jobs in as many processes as asked for, this one among them.

    Parameters
    ----------
    function : str
        "module:name"; it takes a job's values and gives what can be pickled.
    count : int
        Processes, this one counted.
    """

    def __init__(self, function: str, count: int) -> None:
        self._function = function
        self._children = [_Child(function) for _ in range(max(0, count - 1))]

    def answers(self, jobs: Sequence[tuple[Any, ...]], *, stop: Stop) -> Iterator[Any]:
        """Yield the answers as they come; once a stop is asked for, no job is begun.

        Jobs that a dying process had are done here.
        """
        waiting: queue.SimpleQueue[tuple[Any, ...]] = queue.SimpleQueue()
        for job in jobs:
            waiting.put(job)
        done: queue.SimpleQueue[Any] = queue.SimpleQueue()
        threads = [
            threading.Thread(target=child.serve, args=(waiting, done, stop), daemon=True)
            for child in self._children
        ]
        for thread in threads:
            thread.start()
        do = function_of(self._function)
        left = len(jobs)
        while left and not stop.asked:
            try:
                job = waiting.get_nowait()
            except queue.Empty:
                break
            answer = do(*job)
            left -= 1
            yield answer
            while not done.empty():
                left -= 1
                yield _or_done_here(done.get(), do)
        while left and not stop.asked:
            try:
                found = done.get(timeout=0.2)
            except queue.Empty:
                continue
            left -= 1
            yield _or_done_here(found, do)

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


class _Lost:
    """A job whose process died."""

    def __init__(self, job: tuple[Any, ...]) -> None:
        self.job = job


def _or_done_here(found: Any, do: Callable[..., Any]) -> Any:
    return do(*found.job) if isinstance(found, _Lost) else found


class _Child:
    """One process and its pipes."""

    def __init__(self, function: str) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-c", _MAIN, function],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
        )

    def serve(
        self, waiting: queue.SimpleQueue[tuple[Any, ...]], done: queue.SimpleQueue[Any], stop: Stop
    ) -> None:
        """Hand jobs over, one after the other, until none waits."""
        while not stop.asked:
            try:
                job = waiting.get_nowait()
            except queue.Empty:
                return
            try:
                assert self._process.stdin is not None
                assert self._process.stdout is not None
                pickle.dump(job, self._process.stdin, pickle.HIGHEST_PROTOCOL)
                self._process.stdin.flush()
                done.put(pickle.load(self._process.stdout))
            except (OSError, EOFError, ValueError, pickle.UnpicklingError):
                done.put(_Lost(job))
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
    """Do jobs from standard input until it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the process that asked
    keep_memory(KEPT_BYTES)
    do = function_of(name)
    with os.fdopen(os.dup(0), "rb") as orders, os.fdopen(os.dup(1), "wb") as answers:
        while True:
            try:
                job = pickle.load(orders)
            except EOFError:
                return
            pickle.dump(do(*job), cast("BinaryIO", answers), pickle.HIGHEST_PROTOCOL)
            answers.flush()
