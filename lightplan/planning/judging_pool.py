"""Helper processes that judge some of the rigs, so that all cores are used.

Which process judges a rig does not change the result, so the plan is the same with any
number of helpers.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Self

import numpy as np
from threadpoolctl import threadpool_limits

from lightplan.merit.engine_model import Models, final_detail, long_side_for, search_detail
from lightplan.planning.alongside import Alongside
from lightplan.planning.helper import (
    KEPT_BYTES,
    Helper,
    HelperDesk,
    HelperQuestion,
    Predicted,
    do,
    predicted,
)
from lightplan.process import keep_memory
from lightplan.search.trust_region import Stand, survey

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.light import Detail
    from lightplan.merit.bench import Bench
    from lightplan.merit.judged import Judged
    from lightplan.planning.alongside import Referee
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.exploring import Search
    from lightplan.scene import Rig

_START_S, _LIGHT_S = 2.5, 0.07
"""What the start of a helper takes, and a light of the search until one was timed: a grating
takes several times as long, and a helper's start then lasts for few lights."""
_PREDICTION = 28.0
_WORTH = {"begin": 1.5, "trials": 8.0, "excess": 0.05, "scored": 0.02, "predicted": _PREDICTION}
"""What takes as long as so many lights of the search: a prediction, and one job of each kind
that is no light. Nothing but the sharing depends on all of these."""
_TIMED = {"screened", "smooth", "begin", "lights"}
"""Jobs that are mostly light: they tell how long one takes here."""


class Judges:
    """One bench here, and the same bench in each helper process.

    Parameters
    ----------
    rig : Rig
        Origin of the freedoms.
    detail : Detail or None
        None: that of a search.
    helpers : int
        Processes besides this one.
    """

    def __init__(self, rig: Rig, detail: Detail | None = None, *, helpers: int = 0) -> None:
        # first of all: they load what they need while this process does the same
        self._helpers = [Helper() for _ in range(helpers)]
        self.detail = search_detail(rig, long_side_for(rig)) if detail is None else detail
        # The arrays are short: threads of the linear algebra only stand in each other's way.
        self._one_thread = threadpool_limits(1)
        keep_memory(KEPT_BYTES)
        self._models = Models()
        self._light_s = _LIGHT_S
        self._stated: list[tuple[Rig, Predicted]] = []
        self._ahead = [0.0] + [_START_S] * helpers  # seconds each hand has already, ours first
        self.use(rig)

    def use(self, rig: Rig, detail: Detail | None = None) -> None:
        """Change to another rig (other elements or freedoms), or to another detail."""
        self.rig = rig
        self.detail = self.detail if detail is None else detail
        for helper in self._helpers:
            helper.use(rig, self.detail)
        self.desk = HelperDesk.of(rig, self.detail, self._models)

    @property
    def bench(self) -> Bench:
        """The bench in this process."""
        return self.desk.bench

    def begin(self, points: Sequence[Doubles], radius: float) -> list[Stand | None]:
        """Return where searches stand that begin at points."""
        return self.shared("begin", [(point, radius) for point in points])

    def step(self, stands: Sequence[Stand]) -> list[Stand]:
        """Return each stand a step further."""
        surveyed = survey(_Together(self), stands, len(self.bench.space.geometry))
        return self.shared("trials", surveyed)

    def solved(self, rigs: Sequence[Rig]) -> list[Judged]:
        """Return rigs that may lack some of the bench's things, judged with fitting powers."""
        return self.shared("solved", [(rig, self.detail) for rig in rigs])

    def refined(self, rigs: Sequence[Rig]) -> list[Judged]:
        """Return rigs judged with their powers refined."""
        return self.shared("refined", rigs)

    def scores(self, rigs: Sequence[Rig]) -> list[float]:
        """Return the scores of rigs as they stand."""
        return self.shared("scores", rigs)

    def lights(self, rigs: Sequence[Rig]) -> list[Singles]:
        """Return what the measures read of the sheet, for each rig."""
        return self.shared("lights", rigs)

    def scored(self, sheets: Sequence[Singles]) -> list[float]:
        """Return the scores of the bench's rig by samples of its sheet under several lights."""
        return self.shared("scored", sheets)

    def alongside(self, searches: Sequence[Search], referee: Referee, job: SearchJob) -> None:
        """Do whole searches side by side, one in each process; the referee is told of each."""
        Alongside(searches, self._helpers, self.rig, referee).run(job.should_stop, job.progress)
        self._ahead = [0.0] * len(self._ahead)

    def predicted(self, rig: Rig, detail: Detail, *, covers: bool = False) -> Predicted:
        """Return a rig, with the powers it has, judged by every pixel under other light."""
        self._have([_PREDICTION * self._light_s] + [0.0] * len(self._helpers))
        return predicted(rig, detail, covers=covers)

    def stated(self, rigs: Sequence[Rig]) -> list[float]:
        """Return the scores of rigs as their predictions state them; no rig is predicted twice."""
        new = [rig for rig in rigs if self._known(rig) is None]
        # a helper's first takes twice as long: it has to load what this process has
        more = _PREDICTION * self._light_s if new else 0.0
        self._ahead[1:] = [work + more for work in self._ahead[1:]]
        told = self.shared("predicted", [(rig, final_detail()) for rig in new])
        self._stated += zip(new, told, strict=True)
        known = [self._known(rig) for rig in rigs]
        return [one.judged.score for one in known if one is not None]

    def _known(self, rig: Rig) -> Predicted | None:
        return next((told for one, told in self._stated if one is rig), None)

    def prediction(self, rig: Rig, detail: Detail) -> JudgedPrediction:
        """Have a helper judge a rig so, and tell what it mirrors, while this process goes on."""
        if not self._helpers:
            return JudgedPrediction(predicted(rig, detail, covers=True))
        self._ahead[-1] += _PREDICTION * self._light_s
        helper = self._helpers[-1]
        return JudgedPrediction(
            None, (helper, helper.ask("covering", [(rig, detail)], self.rig), self)
        )

    def shared(self, task: str, jobs: Sequence[Any]) -> list[Any]:
        """Deal jobs out to all processes, and return their answers in the order of the jobs."""
        worth = _WORTH.get(task, 1.0) * self._light_s
        shares = dealt(len(jobs), [work / worth for work in self._ahead])
        self._have([worth * len(share) for share in shares])
        given = [[jobs[i] for i in share] for share in shares]
        asked = [
            helper.ask(task, mine, self.rig) if mine else None
            for helper, mine in zip(self._helpers, given[1:], strict=True)
        ]
        began = time.process_time()
        answers = [do(self.desk, task, given[0])]
        if task in _TIMED and given[0]:
            each = (time.process_time() - began) / len(given[0]) / _WORTH.get(task, 1.0)
            self._light_s = (self._light_s + each) / 2.0
        for helper, order in zip(self._helpers, asked, strict=True):
            answers.append([] if order is None else helper.answers(order, self.desk))
        found: list[Any] = [None] * len(jobs)
        for share, answer in zip(shares, answers, strict=True):
            for i, value in zip(share, answer, strict=True):
                found[i] = value
        return found

    def _have(self, work: Sequence[float]) -> None:
        """Note work that was dealt out; what helpers have left when ours is done stays."""
        total = [before + new for before, new in zip(self._ahead, work, strict=True)]
        self._ahead = [max(0.0, one - total[0]) for one in total]

    def close(self) -> None:
        """End the helpers."""
        for helper in self._helpers:
            helper.close()
        self._helpers = []
        self._one_thread.restore_original_limits()

    def __enter__(self) -> Self:
        """Return this."""
        return self

    def __exit__(self, *_: object) -> None:
        """End the helpers."""
        self.close()


@dataclass(frozen=True, eq=False)
class JudgedPrediction:
    """A prediction that is at hand, or that a helper works out."""

    found: Predicted | None
    at: tuple[Helper, HelperQuestion, Judges] | None = None

    def result(self) -> Predicted:
        """Return it, once it is there."""
        if self.at is None:
            assert self.found is not None
            return self.found
        helper, asked, judges = self.at
        answer: Predicted = helper.answers(asked, judges.desk)[0]
        return answer


@dataclass(frozen=True)
class _Together:
    """The bench as a survey asks it, with what is dear shared out."""

    judges: Judges

    def smooth(self, points: Sequence[Doubles]) -> list[Singles | None]:
        return self.judges.shared("smooth", points)

    def values_under(self, parts: Sequence[Singles], points: Sequence[Doubles]) -> list[float]:
        return self.judges.bench.values_under(parts, points)

    def excess(self, points: Sequence[Doubles]) -> list[float]:
        return self.judges.shared("excess", points)


def dealt(count: int, ahead: Sequence[float]) -> list[list[int]]:
    """Return which jobs each of several hands gets, so that all have done at about one time.

    Runs, since neighbours often move the same thing, which costs least; two for each hand,
    since dear jobs (another camera) often stand together.

    Parameters
    ----------
    ahead : (hands,) float
        Work that each hand has already, in jobs.

    >>> dealt(8, [0, 0]), dealt(8, [0, 4])
    ([[0, 1, 4, 5], [2, 3, 6, 7]], [[0, 1, 2, 4, 5, 6], [3, 7]])
    """
    sizes = _sizes(count, ahead)
    found: list[list[int]] = [[] for _ in sizes]
    at = 0
    for halves in ([-(-size // 2) for size in sizes], [size // 2 for size in sizes]):
        for share, half in zip(found, halves, strict=True):
            share += range(at, at + half)
            at += half
    return found


def _sizes(count: int, ahead: Sequence[float]) -> list[int]:
    """Return how many jobs each hand gets: those with least to do are filled up first.

    >>> _sizes(1, [0, 0]), _sizes(10, [0, 50, 2]), _sizes(0, [0, 1])
    ([1, 0], [6, 0, 4], [0, 0])
    """
    level, taken = 0.0, 0.0
    for number, work in enumerate(sorted(ahead), start=1):
        if number > 1 and level <= work:
            break
        taken += work
        level = (count + taken) / number
    ends = np.ceil(np.cumsum([max(0.0, level - work) for work in ahead]) - 1e-9)
    return [int(size) for size in np.diff(ends, prepend=0.0)]
