"""Long work that waits its turn: a list of jobs, one child process that does them in order."""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

from lightplan.session.child import ChildProcess, Work

Told: TypeAlias = Callable[["Job", str, Any], None]
ENDS = ("done", "refused", "stopped", "broken")


@dataclass(frozen=True, eq=False)
class Job:
    """A piece of work: its number, what it is for, and what to do."""

    number: int
    purpose: str
    work: Work
    arguments: tuple[Any, ...]
    about: Any = None


class Jobs:
    """Jobs in order, each told as it goes.

    Parameters
    ----------
    tell : callable
        Told the job, the kind of message (see `Helper`) and its content, from any thread.
    """

    def __init__(self, tell: Told) -> None:
        self._tell = tell
        self._lock = threading.RLock()
        self._waiting: deque[Job] = deque()
        self._now: Job | None = None
        self._next = 1
        self._closed = False
        self._helper = ChildProcess(self._heard)

    def add(
        self, purpose: str, work: Work, *arguments: Any, about: Any = None, first: bool = False
    ) -> Job:
        """Put a job at the end of the list (or before all that wait)."""
        with self._lock:
            job = Job(self._next, purpose, work, arguments, about)
            self._next += 1
            if self._closed:
                return job
            if first:
                self._waiting.appendleft(job)
            else:
                self._waiting.append(job)
        self._go_on()
        return job

    def stop(self, purpose: str) -> None:
        """Stop what is done for a purpose, and drop what waits for it."""
        with self._lock:
            self._waiting = deque(job for job in self._waiting if job.purpose != purpose)
            if self._now is not None and self._now.purpose == purpose:
                self._helper.stop()

    def doing(self, purpose: str) -> bool:
        """Whether something for a purpose is being done or waits."""
        with self._lock:
            everything = [*self._waiting, *([self._now] if self._now else [])]
            return any(job.purpose == purpose for job in everything)

    def close(self) -> None:
        """End everything; what is added afterwards is never begun."""
        with self._lock:
            self._closed = True
            self._waiting.clear()
        self._helper.close()

    def _go_on(self) -> None:
        with self._lock:
            if self._now is not None or not self._waiting:
                return
            self._now = self._waiting.popleft()
            job = self._now
        self._helper.begin(job.number, job.work, *job.arguments)

    def _heard(self, number: int, kind: str, content: Any) -> None:
        with self._lock:
            job = self._now
            if job is None or job.number != number:
                return
            if kind in ENDS:
                self._now = None
        self._tell(job, kind, content)
        if kind in ENDS:
            self._go_on()
