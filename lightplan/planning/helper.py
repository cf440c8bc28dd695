"""A process beside this one that judges rigs as a bench here would.

It runs `main` of this module in a Python of its own and talks in pickles over its own pipes.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import signal
import subprocess
import threading
import traceback
from collections import deque
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any, BinaryIO, cast

from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import EngineModel, Models
from lightplan.planning.exploring import Search, Searched, searched
from lightplan.planning.screening import screen
from lightplan.process import THREAD_SETTINGS, end_with_asker, keep_memory, python_that_runs
from lightplan.search.trust_region import trials

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.light import Detail
    from lightplan.merit.judged import Judged
    from lightplan.scene import Rig

KEPT_BYTES = 256 << 20
"""Freed memory that a process of the planner keeps."""
_PIPE_BYTES = 1 << 20
SEARCH, _STOP = "search", "stop"


class Died(Exception):
    """A process ended before it answered."""


@dataclass(frozen=True, eq=False)
class Predicted:
    """A rig judged by every pixel; where asked for, the share of foil that mirrors each thing."""

    judged: Judged
    covered: dict[str, float] | None = None


def predicted(rig: Rig, detail: Detail, *, covers: bool = False) -> Predicted:
    """Judge a rig by every pixel of its picture under light of some detail.

    Parameters
    ----------
    covers : bool
        Whether it is told what its foil mirrors too, which takes a fifth as long again.
    """
    model = EngineModel(rig, detail)
    judged = Bench(rig, model).judge(rig)
    return Predicted(judged, model.seen_shares(rig) if covers else None)


@dataclass(frozen=True, eq=False)
class HelperDesk:
    """What a process of the planner judges with: its bench, and the models of its engines."""

    bench: Bench
    models: Models

    @classmethod
    def of(cls, rig: Rig, detail: Detail, models: Models) -> HelperDesk:
        """Return the desk for the freedoms of a rig."""
        return cls(Bench(rig, models.of(rig, detail)), models)

    def solved(self, rig: Rig, detail: Detail) -> Judged:
        """Return a rig that may lack some of the bench's things, judged with fitting powers."""
        return Bench(rig, self.models.of(rig, detail)).judge_roughly(rig)

    def screened(self, rig: Rig, detail: Detail) -> tuple[float, Rig | None]:
        """Return one look at an arrangement."""
        return screen(rig, self.models.of(rig, detail))


def do(desk: HelperDesk, task: str, jobs: Sequence[Any]) -> list[Any]:
    """Return the answers to jobs of one kind (a key of the tasks below)."""
    return _TASKS[task](desk, jobs)


_TASKS: dict[str, Callable[[HelperDesk, Sequence[Any]], list[Any]]] = {
    "begin": lambda desk, jobs: [desk.bench.begin(point, radius) for point, radius in jobs],
    "smooth": lambda desk, points: desk.bench.smooth(points),
    "excess": lambda desk, points: desk.bench.excess(points),
    "trials": lambda desk, surveyed: [trials(desk.bench, one) for one in surveyed],
    "solved": lambda desk, jobs: [desk.solved(rig, detail) for rig, detail in jobs],
    "refined": lambda desk, rigs: [desk.bench.judge_refined(rig) for rig in rigs],
    "screened": lambda desk, jobs: [desk.screened(rig, detail) for rig, detail in jobs],
    "predicted": lambda _, jobs: [predicted(rig, detail) for rig, detail in jobs],
    "covering": lambda _, jobs: [predicted(rig, detail, covers=True) for rig, detail in jobs],
    "scores": lambda desk, rigs: desk.bench.scores(
        rigs, [desk.bench.sheet_samples(r) for r in rigs]
    ),
    "scored": lambda desk, sheets: desk.bench.scores([desk.bench.rig] * len(sheets), sheets),
    "lights": lambda desk, rigs: [desk.bench.sheet_samples(rig) for rig in rigs],
}


@dataclass(eq=False)
class HelperQuestion:
    """Jobs that a helper was given, and its answers once they are in.

    Parameters
    ----------
    task : str
    jobs : sequence
    rig : Rig
        Of the bench at that time.
    answers : list or None
    """

    task: str
    jobs: Sequence[Any]
    rig: Rig
    answers: list[Any] | None = None


class Helper:
    """One helper process; it answers in the order in which it was asked."""

    def __init__(self) -> None:
        command = python_that_runs("from lightplan.planning.helper import main; main()")
        # room for a whole message: nobody waits while the helper starts
        self._process = subprocess.Popen(
            command,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            pipesize=_PIPE_BYTES,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
        )
        self._owed: deque[HelperQuestion] = deque()
        self._used: Rig | None = None

    def use(self, rig: Rig, detail: Detail) -> None:
        """Change to the bench of another rig, or to another detail."""
        self._send(("use", (rig, detail)), self._used)
        self._used = rig

    def ask(self, task: str, jobs: Sequence[Any], rig: Rig) -> HelperQuestion:
        """Hand jobs over; `rig` is that of the bench in use."""
        self._send((task, jobs), rig)
        asked = HelperQuestion(task, jobs, rig)
        self._owed.append(asked)
        return asked

    def answers(self, asked: HelperQuestion, desk: HelperDesk) -> list[Any]:
        """Return the answers to jobs that were asked; where the helper died, work them out here."""
        while asked.answers is None:
            first = self._owed.popleft()
            first.answers = self._read(first, desk)
        return asked.answers

    def begin(self, search: Search, rig: Rig) -> None:
        """Hand a whole search over; until its end nothing but `stop` may be asked."""
        assert not self._owed
        self._send((SEARCH, search), rig)

    def ended(self, rig: Rig) -> Searched | None:
        """Return what that search found, once it has.

        Raises
        ------
        Died
            Where the process ended before it answered.
        """
        assert self._process.stdout is not None
        try:
            found: Searched | None = _Reader(self._process.stdout, rig).load()
        except (OSError, EOFError, ValueError, pickle.UnpicklingError) as error:
            raise Died from error
        return found

    def stop(self) -> None:
        """Have the search that the process is at end with the best so far."""
        self._send((_STOP, None), None)

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.communicate()

    def _send(self, message: tuple[str, Any], known: Rig | None) -> None:
        assert self._process.stdin is not None
        with contextlib.suppress(BrokenPipeError):  # it died; `answers` will notice
            _Writer(cast("BinaryIO", self._process.stdin), known).dump(message)
            self._process.stdin.flush()

    def _read(self, asked: HelperQuestion, desk: HelperDesk) -> list[Any]:
        assert self._process.stdout is not None
        try:
            found: list[Any] = _Reader(self._process.stdout, asked.rig).load()
        except (EOFError, pickle.UnpicklingError):
            return do(desk, asked.task, asked.jobs)
        return found


class _Writer(pickle.Pickler):
    """Writes the room, the sheet and its artwork of a rig that both sides know by name.

    An engine tells by identity that they are the same, and an artwork is large: a hundred
    sheets that differ in their bow would take as long to send as their light takes.
    """

    def __init__(self, file: BinaryIO, rig: Rig | None) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        known = {} if rig is None else _known(rig)
        self._names = {id(thing): name for name, thing in known.items()}

    def persistent_id(self, thing: Any) -> str | None:
        return self._names.get(id(thing))


class _Reader(pickle.Unpickler):
    """Reads what `_Writer` wrote."""

    def __init__(self, file: IO[bytes], rig: Rig | None) -> None:
        super().__init__(file)
        self._known = {} if rig is None else _known(rig)

    def persistent_load(self, name: str) -> Any:
        return self._known[name]


def _known(rig: Rig) -> dict[str, Any]:
    return {"room": rig.room, "sheet": rig.sheet, "artwork": rig.sheet.artwork}


def serve(orders: BinaryIO, answers: BinaryIO) -> None:
    """Judge until the orders end."""
    inbox = _Inbox(orders)
    desk: HelperDesk | None = None
    models = Models()
    while (order := inbox.next()) is not None:
        task, jobs = order
        if task == "use":
            rig, detail = jobs
            desk = HelperDesk.of(rig, detail, models)
            continue
        assert desk is not None
        found = searched(jobs, inbox.asked.is_set) if task == SEARCH else do(desk, task, jobs)
        _Writer(answers, desk.bench.rig).dump(found)
        answers.flush()


class _Inbox:
    """Orders as they come, read beside the work, so that a search can be asked to stop."""

    def __init__(self, orders: BinaryIO) -> None:
        self.asked = threading.Event()
        self._orders = orders
        self._read: queue.SimpleQueue[tuple[str, Any] | None] = queue.SimpleQueue()
        threading.Thread(target=self._follow, daemon=True).start()

    def next(self) -> tuple[str, Any] | None:
        """Return the next order once it is there; None where no more will come."""
        return self._read.get()

    def _follow(self) -> None:
        rig: Rig | None = None
        try:
            while True:
                task, jobs = _Reader(self._orders, rig).load()
                if task == _STOP:
                    self.asked.set()
                    continue
                if task == "use":
                    rig, _ = jobs
                # nothing is asked of a process that searches: that search has ended
                self.asked.clear()
                self._read.put((task, jobs))
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            self.asked.set()
            self._read.put(None)


def main() -> None:
    """Serve on the standard pipes, as a helper process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the planner's to handle
    end_with_asker()
    keep_memory(KEPT_BYTES)
    # Files of our own: those of a Python that was asked not to buffer may write less than
    # they are given, and the planner would wait for the rest for ever.
    orders, answers = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    status = 1
    try:
        serve(orders, answers)
        status = 0
    except BrokenPipeError:
        status = 0  # a planner that was killed wants no answer
    except Exception:  # noqa: BLE001 - the planner does what is owed, and meets the fault itself
        traceback.print_exc()
    finally:
        # At once: the thread that reads orders holds their file, and to close it would wait.
        os._exit(status)
