"""Which arrangement of a cupboard is planned: the best few are searched beside each other."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.planning.choosing import Candidate, candidates, varied
from lightplan.planning.effort import Effort, Job, SearchProgress
from lightplan.planning.plan import explored

if TYPE_CHECKING:
    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.pool import Judges
    from lightplan.scene import Rig
    from lightplan.search.multistart import Explored

FIRST_SHARE, QUICK_SHARE = 0.1, 0.26
"""Of the evaluations, for each of the arrangements that are searched first: a step or two."""
FINALISTS, FINAL_SHARE, LAST_SHARE = 2, 0.2, 0.4
"""How many of them go on, with which share of the evaluations, and what the best gets after it.
Where nothing but one look decided, plans from bare cupboards ended up to 40 points below the
same things arranged by hand (`tests/benchmarks/cupboards.py`): a step tells much more."""


ONE_STEP = 2.5
"""Evaluations to a dimension without which a search takes no step: it looks both ways."""


def evaluations_of(effort: Effort) -> float:
    """Return about how many rigs are looked at altogether, those of all arrangements.

    >>> round(evaluations_of(Effort(evaluations=100)))
    150
    """
    if effort.is_quick or effort.searched <= FINALISTS:
        return effort.evaluations
    shares = effort.searched * FIRST_SHARE + FINALISTS * FINAL_SHARE + LAST_SHARE
    return effort.evaluations * shares


def chosen(judges: Judges, job: Job, cupboard: Cupboard) -> tuple[str, Explored] | None:
    """Return the arrangement that is best once searched, and where its search stands.

    The judges use its rig from here on. The first few arrangements take a step or two each, the
    best of them go on, and the best of these gets the rest.
    """
    _tell(job, "looking at arrangements", 0, cupboard.given)
    ranked = candidates(judges, cupboard, quick=job.effort.is_quick)
    if not ranked:
        return None
    count, is_quick = job.effort.evaluations, job.effort.is_quick
    heat = _Heat(judges, job)
    share = QUICK_SHARE if is_quick else FIRST_SHARE
    share = 0.5 if job.effort.searched == 1 else share
    for candidate in varied(ranked, job.effort.searched, of_a_kind=1 if is_quick else 3):
        heat.enter(candidate, round(share * count))
    if not heat.best():
        return None
    if not is_quick and job.effort.searched > FINALISTS:
        for candidate in heat.best(FINALISTS):
            heat.enter(candidate, round(FINAL_SHARE * count))
        left = round(LAST_SHARE * count)
    else:
        left = count - heat.used
    (best,) = heat.best(1)
    heat.enter(best, left, spread=not is_quick)
    if judges.rig is not best.rig:  # a stop came before it was searched on
        judges.use(best.rig)
    return best.name, replace(
        heat.results[best], found=replace(heat.results[best].found, evaluations=heat.used)
    )


class _Heat:
    """Arrangements that are searched beside each other, each from where it stood."""

    def __init__(self, judges: Judges, job: Job) -> None:
        self._judges, self._job = judges, job
        self.results: dict[Candidate, Explored] = {}
        self.used = 0

    def enter(self, candidate: Candidate, evaluations: int, *, spread: bool = False) -> None:
        """Search an arrangement for the first time, or further; only the first after a stop."""
        if evaluations <= 0 or (self.results and self._job.should_stop()):
            return
        before = self.results.get(candidate)
        self._judges.use(candidate.rig)
        dimensions = len(self._judges.bench.space.geometry)
        evaluations = max(evaluations, math.ceil(ONE_STEP * dimensions))
        start = candidate.rig
        if before is not None:
            start = self._judges.bench.rig_at(before.found.point)
        found = explored(self._judges, self._job, evaluations, [start], spread=spread)
        if found is None:
            return
        self.used += found.found.evaluations
        if before is None or found.found.value <= before.found.value:
            self.results[candidate] = found

    def best(self, count: int | None = None) -> list[Candidate]:
        """Return the best so far, a little for each thing counted."""

        def rank(one: Candidate) -> float:
            return self.results[one].found.value + one.value - one.bare

        return sorted(self.results, key=rank)[:count]


def _tell(job: Job, stage: str, done: int, rig: Rig) -> None:
    if job.progress is not None:
        job.progress(
            SearchProgress(stage=stage, done=done, of=job.effort.evaluations, score=0.0, rig=rig)
        )
