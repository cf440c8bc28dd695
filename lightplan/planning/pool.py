"""A helper process that judges every other rig, so that two cores are used.

The helper runs `main` of this module in a Python of its own and talks in pickles over its
own pipes. Which process judges a rig does not change the result, so the plan is
the same with any number of helpers.
"""

from __future__ import annotations

import contextlib
import pickle
import signal
import subprocess
import sys
from collections.abc import Sequence
from types import TracebackType
from typing import Any, BinaryIO, Self

import numpy as np

from lightplan.arrays import Doubles, Floats
from lightplan.light import Detail
from lightplan.planning.engine_model import EngineModel
from lightplan.planning.merit import Bench
from lightplan.scene import Rig


class Judges:
    """One bench here, and the same bench in each helper process.

    Parameters
    ----------
    rig : Rig
        Origin of the freedoms.
    detail : Detail
    helpers : int
        Processes besides this one.
    """

    def __init__(self, rig: Rig, detail: Detail, *, helpers: int = 0) -> None:
        self.detail = detail
        self._helpers = [_start() for _ in range(helpers)]
        self.use(rig)

    def use(self, rig: Rig, detail: Detail | None = None) -> None:
        """Change to another rig (other elements or freedoms), or to another detail."""
        self.rig = rig
        self.detail = self.detail if detail is None else detail
        self.bench = Bench(rig, EngineModel(rig, self.detail))
        for helper in self._helpers:
            _send(helper, ("use", (rig, self.detail)))

    def values(self, points: Sequence[Doubles]) -> list[float]:
        """Return what the search makes small, for each point."""
        return self._spread("values", points)

    def scores(self, rigs: Sequence[Rig]) -> list[float]:
        """Return the scores of rigs as they stand."""
        return self._spread("scores", rigs)

    def lights(self, rigs: Sequence[Rig]) -> list[tuple[Floats, Floats]]:
        """Return the sheet's luminance as paper and as foil, for each rig."""
        return self._spread("lights", rigs)

    def _spread(self, task: str, jobs: Sequence[Any]) -> list[Any]:
        hands = len(self._helpers) + 1
        for i, helper in enumerate(self._helpers, start=1):
            _send(helper, (task, list(jobs[i::hands])))
        found: list[Any] = [None] * len(jobs)
        found[0::hands] = _do(self.bench, task, jobs[0::hands])
        for i, helper in enumerate(self._helpers, start=1):
            found[i::hands] = self._answer(helper, task, jobs[i::hands])
        return found

    def _answer(self, helper: subprocess.Popen[bytes], task: str, jobs: Sequence[Any]) -> list[Any]:
        """Return a helper's answer; where the helper died, do its work here."""
        assert helper.stdout is not None
        try:
            answer: list[Any] = pickle.load(helper.stdout)
        except (EOFError, pickle.UnpicklingError):
            return _do(self.bench, task, jobs)
        return answer

    def close(self) -> None:
        """End the helpers."""
        for helper in self._helpers:
            helper.kill()
            helper.communicate()
        self._helpers = []

    def __enter__(self) -> Self:
        """Return this."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        """End the helpers."""
        self.close()


def _start() -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", "from lightplan.planning.pool import main; main()"]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)


def _send(helper: subprocess.Popen[bytes], message: tuple[str, Any]) -> None:
    assert helper.stdin is not None
    with contextlib.suppress(BrokenPipeError):  # it died; `_answer` will notice
        pickle.dump(message, helper.stdin, protocol=pickle.HIGHEST_PROTOCOL)
        helper.stdin.flush()


def _do(bench: Bench, task: str, jobs: Sequence[Any]) -> list[Any]:
    if task == "values":
        return [bench.value(point) for point in jobs]
    if task == "scores":
        return [bench.judge(rig).score for rig in jobs]
    return [tuple(np.asarray(x, np.float32) for x in bench.sheet_light(rig)) for rig in jobs]


def serve(orders: BinaryIO, answers: BinaryIO) -> None:
    """Judge until the orders end."""
    bench: Bench | None = None
    while True:
        try:
            task, jobs = pickle.load(orders)
        except (EOFError, KeyboardInterrupt):
            return
        if task == "use":
            bench = Bench(jobs[0], EngineModel(*jobs))
            continue
        assert bench is not None
        pickle.dump(_do(bench, task, jobs), answers, protocol=pickle.HIGHEST_PROTOCOL)
        answers.flush()


def main() -> None:
    """Serve on the standard pipes, as a helper process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the planner's to handle
    serve(sys.stdin.buffer, sys.stdout.buffer)
