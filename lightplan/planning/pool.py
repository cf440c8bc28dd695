"""A helper process that judges every other rig, so that two cores are used.

The helper runs `main` of this module in a Python of its own and talks in pickles over its
own pipes. Which process judges a rig does not change the result, so the plan is
the same with any number of helpers.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import IO, Any, BinaryIO, Self, cast

from threadpoolctl import threadpool_limits

from lightplan.arrays import THREAD_SETTINGS, Doubles, Singles
from lightplan.light import Detail
from lightplan.planning.engine_model import EngineModel
from lightplan.planning.merit import Bench, Judged
from lightplan.planning.trust_region import Stand, step
from lightplan.scene import Rig


@dataclass(frozen=True, eq=False)
class Predicted:
    """A rig judged by every pixel, and the share of its foil that mirrors each thing."""

    judged: Judged
    covered: dict[str, float]


def predicted(rig: Rig, detail: Detail) -> Predicted:
    """Judge a rig by every pixel of its picture under light of some detail."""
    model = EngineModel(rig, detail)
    return Predicted(Bench(rig, model).judge(rig), model.seen_shares(rig))


_PIPE_BYTES = 1 << 20


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
        # The arrays are short: threads of the linear algebra only stand in each other's way.
        self._one_thread = threadpool_limits(1)
        self._helpers = [_start() for _ in range(helpers)]
        self.use(rig)

    def use(self, rig: Rig, detail: Detail | None = None) -> None:
        """Change to another rig (other elements or freedoms), or to another detail."""
        self.rig = rig
        self.detail = self.detail if detail is None else detail
        for helper in self._helpers:
            _send(helper, ("use", (rig, self.detail)), None)
        self.bench = Bench(rig, EngineModel(rig, self.detail))

    def begin(self, points: Sequence[Doubles], radius: float) -> list[Stand | None]:
        """Return where searches stand that begin at points."""
        return self.shared("begin", [(point, radius) for point in points])

    def step(self, stands: Sequence[Stand]) -> list[Stand]:
        """Return each stand a step further: one to a process, and what is over by all together."""
        dimensions = len(self.bench.space.geometry)
        hands = len(self._helpers) + 1
        even = len(stands) // hands * hands
        found: list[Stand] = self.shared("step", stands[:even])
        together = _Together(self)
        return found + [step(together, stand, dimensions) for stand in stands[even:]]

    def solved(self, rigs: Sequence[Rig]) -> list[Judged]:
        """Return rigs that may lack some of the bench's things, judged with fitting powers."""
        return self.shared("solved", [(rig, self.detail) for rig in rigs])

    def refined(self, rigs: Sequence[Rig]) -> list[Judged]:
        """Return rigs judged with their powers refined."""
        return self.shared("refined", rigs)

    def predicted(self, rigs: Sequence[Rig], detail: Detail) -> list[Predicted]:
        """Return rigs with the powers they have, judged by every pixel under other light."""
        return self.shared("predicted", [(rig, detail) for rig in rigs])

    def scores(self, rigs: Sequence[Rig]) -> list[float]:
        """Return the scores of rigs as they stand."""
        return self.shared("scores", rigs)

    def lights(self, rigs: Sequence[Rig]) -> list[Singles]:
        """Return what the measures read of the sheet, for each rig."""
        return self.shared("lights", rigs)

    def shared(self, task: str, jobs: Sequence[Any]) -> list[Any]:
        """Deal jobs out in runs: neighbours often move the same thing, which costs least.

        Two runs each, since dear jobs (another camera) often stand together.
        """
        hands = len(self._helpers) + 1
        ends = [-(-len(jobs) * i // (2 * hands)) for i in range(2 * hands + 1)]
        runs = [range(first, end) for first, end in pairwise(ends)]
        shares = [[*runs[i], *runs[i + hands]] for i in range(hands)]
        found: list[Any] = [None] * len(jobs)
        for helper, share in zip(self._helpers, shares[1:], strict=True):
            if share:
                _send(helper, (task, [jobs[i] for i in share]), self.rig)
        answers = [_do(self.bench, task, [jobs[i] for i in shares[0]])]
        for helper, share in zip(self._helpers, shares[1:], strict=True):
            answers.append(self._answer(helper, task, [jobs[i] for i in share]) if share else [])
        for share, answer in zip(shares, answers, strict=True):
            for i, value in zip(share, answer, strict=True):
                found[i] = value
        return found

    def _answer(self, helper: subprocess.Popen[bytes], task: str, jobs: Sequence[Any]) -> list[Any]:
        """Return a helper's answer; where the helper died, do its work here."""
        assert helper.stdout is not None
        try:
            answer: list[Any] = _Reader(helper.stdout, self.rig).load()
        except (EOFError, pickle.UnpicklingError):
            return _do(self.bench, task, jobs)
        return answer

    def scored(self, sheets: Sequence[Singles]) -> list[float]:
        """Return the scores of the bench's rig by samples of its sheet under several lights."""
        return self.shared("scored", sheets)

    def close(self) -> None:
        """End the helpers."""
        for helper in self._helpers:
            helper.kill()
            helper.communicate()
        self._helpers = []
        self._one_thread.restore_original_limits()

    def __enter__(self) -> Self:
        """Return this."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the helpers."""
        self.close()


@dataclass(frozen=True)
class _Together:
    """The bench as a step asks it, with every question shared out."""

    judges: Judges

    def smooth(self, points: Sequence[Doubles]) -> list[Singles | None]:
        return self.judges.shared("smooth", points)

    def values_under(self, parts: Sequence[Singles], points: Sequence[Doubles]) -> list[float]:
        return self.judges.shared("value_under", list(zip(parts, points, strict=True)))

    def excess(self, points: Sequence[Doubles]) -> list[float]:
        return self.judges.shared("excess", points)


def _start() -> subprocess.Popen[bytes]:
    command = [sys.executable, "-c", "from lightplan.planning.pool import main; main()"]
    # room for a whole message: nobody waits while the helper starts
    return subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, pipesize=_PIPE_BYTES,
        env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
    )  # fmt: skip


class _Writer(pickle.Pickler):
    """Writes the room and the sheet of a rig that both sides know by name.

    An engine tells by identity that they are the same, and a sheet's artwork is large.
    """

    def __init__(self, file: BinaryIO, rig: Rig | None) -> None:
        super().__init__(file, pickle.HIGHEST_PROTOCOL)
        self._names = {} if rig is None else {id(rig.room): "room", id(rig.sheet): "sheet"}

    def persistent_id(self, thing: Any) -> str | None:
        return self._names.get(id(thing))


class _Reader(pickle.Unpickler):
    """Reads what `_Writer` wrote."""

    def __init__(self, file: IO[bytes], rig: Rig | None) -> None:
        super().__init__(file)
        self._rig = rig

    def persistent_load(self, name: str) -> Any:
        return getattr(self._rig, name)


def _send(helper: subprocess.Popen[bytes], message: tuple[str, Any], known: Rig | None) -> None:
    assert helper.stdin is not None
    with contextlib.suppress(BrokenPipeError):  # it died; `_answer` will notice
        _Writer(cast("BinaryIO", helper.stdin), known).dump(message)
        helper.stdin.flush()


def _do(bench: Bench, task: str, jobs: Sequence[Any]) -> list[Any]:
    if task in _TOGETHER:
        return _TOGETHER[task](bench, jobs)
    return [_TASKS[task](bench, job) for job in jobs]


_TOGETHER: dict[str, Callable[[Bench, Sequence[Any]], list[Any]]] = {
    "value_under": lambda bench, jobs: bench.values_under(
        [j[0] for j in jobs], [j[1] for j in jobs]
    ),
    "scores": lambda bench, rigs: bench.scores(rigs, [bench.sheet_samples(rig) for rig in rigs]),
    "scored": lambda bench, sheets: bench.scores([bench.rig] * len(sheets), sheets),
}
"""Tasks whose jobs cost less together."""


_TASKS: dict[str, Callable[[Bench, Any], Any]] = {
    "begin": lambda bench, job: bench.begin(*job),
    "step": lambda bench, stand: step(bench, stand, len(bench.space.geometry)),
    "smooth": lambda bench, point: bench.smooth([point])[0],
    "excess": lambda bench, point: bench.excess([point])[0],
    "solved": lambda bench, job: Bench(job[0], EngineModel(*job)).judge_roughly(job[0]),
    "refined": lambda bench, rig: bench.judge_refined(rig),
    "predicted": lambda bench, job: predicted(*job),
    "lights": lambda bench, rig: bench.sheet_samples(rig),
}


def serve(orders: BinaryIO, answers: BinaryIO) -> None:
    """Judge until the orders end."""
    bench: Bench | None = None
    while True:
        try:
            task, jobs = _Reader(orders, None if bench is None else bench.rig).load()
        except (EOFError, KeyboardInterrupt):
            return
        if task == "use":
            bench = Bench(jobs[0], EngineModel(*jobs))
            continue
        assert bench is not None
        _Writer(answers, bench.rig).dump(_do(bench, task, jobs))
        answers.flush()


def main() -> None:
    """Serve on the standard pipes, as a helper process."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the planner's to handle
    # Files of our own: those of a Python that was asked not to buffer may write less than
    # they are given, and the planner would wait for the rest for ever.
    with os.fdopen(os.dup(0), "rb") as orders, os.fdopen(os.dup(1), "wb") as answers:
        serve(orders, answers)
