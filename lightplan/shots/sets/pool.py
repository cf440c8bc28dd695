"""A pool of worker processes that outlives any photograph.

The standard pools hang or break when a worker dies or never answers. This one hands
out one photograph at a time, knows who has which, kills a worker that is late, and
puts a new one in its place.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import time
from contextlib import contextmanager, suppress
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from lightplan.errors import LightplanError
from lightplan.process import THREAD_SETTINGS
from lightplan.safe_write import Scratch
from lightplan.shots.sets.worker import JudgeOne, Reply, WorkerLimits, serve_from

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from multiprocessing.context import SpawnProcess

_START_TIMEOUT_S = 120.0
_MOST_FAILED_STARTS = 3
# A fresh process from time to time gives fragmented memory back.
_PHOTOGRAPHS_PER_WORKER = 2000


class _Worker:
    """One process, its pipe, and the photograph it is busy with."""

    def __init__(self, judge_file: str, limits: WorkerLimits) -> None:
        context = multiprocessing.get_context("spawn")
        self.pipe: Connection
        self.pipe, theirs = context.Pipe()
        self.process: SpawnProcess = context.Process(
            target=serve_from, args=(theirs, judge_file, limits), daemon=True
        )
        with _one_thread_each():
            self.process.start()
        theirs.close()
        self.ready = False
        self.path: Path | None = None
        self.deadline = time.monotonic() + _START_TIMEOUT_S
        self.handed_out_at = 0.0
        self.done = 0

    def hand_out(self, path: Path, timeout_s: float) -> None:
        self.path = path
        self.handed_out_at = time.monotonic()
        self.deadline = self.handed_out_at + timeout_s
        self.pipe.send(path)

    def end(self) -> None:
        """End the process at once."""
        self.process.kill()
        self.process.join()
        self.pipe.close()
        self.process.close()


class WorkerPool:
    """Worker processes for photographs; use it as a context manager.

    Parameters
    ----------
    judge_one : callable
        Gets a path, returns plain values. It travels to the workers by pickle.
    workers : int
        Number of processes.
    limits : WorkerLimits
        For each photograph.
    """

    def __init__(self, judge_one: JudgeOne, *, workers: int, limits: WorkerLimits) -> None:
        self._limits, self._count = limits, workers
        # What a new process is given at its start must fit in a pipe: the standard library
        # waits for ever on a child that dies before it has read more. So it is given a file.
        self._folder = Scratch()
        self._judge_file = str(self._folder.path / "judge.pickle")
        with Path(self._judge_file).open("wb") as file:
            pickle.dump(judge_one, file)
        self._workers: list[_Worker] = []
        self._failed_starts = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for worker in self._workers:
            worker.end()
        self._workers.clear()
        self._folder.close()

    def run(self, paths: Iterable[Path], *, at_hand: bool = False) -> Iterator[tuple[Path, Reply]]:
        """Yield each photograph with its answer, in the order they are ready.

        Paths are taken from the iterable only as workers fall free.

        Parameters
        ----------
        paths : iterable of Path
        at_hand : bool
            True where the next path never keeps anybody waiting. A worker then gets it
            before its last answer is yielded, and does not stand still while that is written.

        Raises
        ------
        LightplanError
            The workers themselves cannot be started.
        """
        waiting, exhausted = iter(paths), False
        while True:
            while not exhausted and (idle := self._idle()) is not None:
                path = next(waiting, None)
                if path is None:
                    exhausted = True
                    break
                self._hand_out(idle, path)
            if exhausted and not any(w.path for w in self._workers):
                return
            yield from self._collect(waiting if at_hand else iter(()))

    def warm_up(self) -> None:
        """Start the workers now and wait for them, so that the first photograph does not."""
        self._start_missing()
        while not all(worker.ready for worker in self._workers):
            for _ in self._collect(iter(())):  # nothing is handed out yet, so nothing comes
                pass
            self._start_missing()

    def _start_missing(self) -> None:
        while len(self._workers) < self._count:
            self._workers.append(_Worker(self._judge_file, self._limits))

    def _idle(self) -> _Worker | None:
        """Return a worker that is free, starting missing ones."""
        self._start_missing()
        return next((w for w in self._workers if w.ready and w.path is None), None)

    def _hand_out(self, worker: _Worker, path: Path) -> None:
        # One that died idle is noticed next by its closed pipe, and the path reported.
        with suppress(OSError):
            worker.hand_out(path, self._limits.timeout_s)

    def _collect(self, following: Iterator[Path]) -> Iterator[tuple[Path, Reply]]:
        """Wait for the next events and yield the answers among them.

        Who has answered is given one of the `following` paths first.
        """
        pipes: dict[Any, _Worker] = {w.pipe: w for w in self._workers}
        timeout = min(w.deadline for w in self._workers) - time.monotonic()
        spoken = wait(list(pipes), timeout=max(0.0, timeout))
        for pipe in spoken:
            yield from self._hear(pipes[pipe], following)
        now = time.monotonic()
        # Whoever reads the answers may have taken long: what came meanwhile is not late.
        for worker in [w for w in self._workers if w.deadline < now and not w.pipe.poll()]:
            limit = f"end within {self._limits.timeout_s:g} s (got no answer)"
            yield from self._lost(worker, limit)

    def _hear(self, worker: _Worker, following: Iterator[Path]) -> Iterator[tuple[Path, Reply]]:
        path = worker.path
        try:
            reply = worker.pipe.recv()
        except (EOFError, OSError):
            yield from self._lost(worker, "end by itself (got a crash, perhaps of memory)")
            return
        worker.deadline = float("inf")
        if not worker.ready:
            worker.ready, self._failed_starts = True, 0
            return
        worker.path = None
        worker.done += 1
        if reply.exhausted or worker.done >= _PHOTOGRAPHS_PER_WORKER:
            self._remove(worker)
        elif (after := next(following, None)) is not None:
            self._hand_out(worker, after)
        if path is not None:
            yield path, reply

    def _lost(self, worker: _Worker, what: str) -> Iterator[tuple[Path, Reply]]:
        """Replace a worker that crashed or is late, and answer in its place."""
        path, seconds = worker.path, time.monotonic() - worker.handed_out_at
        self._remove(worker)
        if not worker.ready:
            self._count_failed_start()
        if path is not None:
            sentence = f"{path.name}: judging must {what}; export the photograph again, smaller."
            yield path, Reply(error=sentence, retry=True, seconds=seconds)

    def _remove(self, worker: _Worker) -> None:
        worker.end()
        self._workers.remove(worker)

    def _count_failed_start(self) -> None:
        self._failed_starts += 1
        if self._failed_starts >= _MOST_FAILED_STARTS:
            raise LightplanError(
                "Worker processes end before they begin; try one worker, or free some memory."
            )


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Tell number libraries of a new process to use one thread: the processes fill the cores."""
    before = {name: os.environ.get(name) for name in THREAD_SETTINGS}
    os.environ.update(dict.fromkeys(THREAD_SETTINGS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
