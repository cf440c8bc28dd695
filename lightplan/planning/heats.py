"""Which arrangement of a cupboard is planned: the best few are searched beside each other."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.planning.choosing import Candidate, candidates, varied
from lightplan.planning.effort import Effort, Job, SearchProgress
from lightplan.planning.plan import explored
from lightplan.planning.roaming import roaming, settled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.pool import Judges
    from lightplan.scene import Rig
    from lightplan.search.multistart import Explored

QUICK_SHARE = 0.26
"""Of a quick plan's evaluations, for each of the arrangements that are searched first."""
FIRST_SHARE, FINALISTS, FINAL_SHARE, LAST_SHARE = 0.2, 2, 0.35, 0.3
"""Of the evaluations: for each arrangement whose things roam first, from many points and a step
or two; how many of them roam on, with how much each; and what the best gets to settle in.
Where nothing but one look decided, plans from bare cupboards ended up to 40 points below the
same things arranged by hand, and 7 below where things could not go far
(`tests/benchmarks/cupboards.py`)."""
OF_A_KIND = 2
"""Arrangements of a kind that are searched: what differs in places alone, roaming finds."""
PERFECT = 0.002
"""Value of a search from which nothing better is looked for: a fifth of a point."""
ONE_STEP = 2.5
"""Evaluations to a dimension without which a search takes no step: it looks both ways."""


def evaluations_of(effort: Effort) -> float:
    """Return about how many rigs are looked at altogether, those of all arrangements.

    >>> round(evaluations_of(Effort(evaluations=100)))
    240
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
    is_quick = job.effort.is_quick or job.effort.searched <= FINALISTS
    search = _quickly if is_quick else _thoroughly
    return search(_Heat(judges, job, cupboard), ranked)


def _quickly(heat: _Heat, ranked: Sequence[Candidate]) -> tuple[str, Explored] | None:
    """Search the first arrangements within what each leaves free, and the best of them further."""
    effort = heat.job.effort
    share = 0.5 if effort.searched == 1 else QUICK_SHARE
    of_a_kind = 1 if effort.is_quick else OF_A_KIND
    for candidate in varied(ranked, effort.searched, of_a_kind=of_a_kind):
        heat.enter(candidate, candidate.rig, round(share * effort.evaluations))
    if not heat.stands:
        return None
    (best,) = heat.best(1)
    left = effort.evaluations - heat.used
    heat.enter(best, heat.stands[best].rig, left, spread=not effort.is_quick)
    return heat.outcome()


def _thoroughly(heat: _Heat, ranked: Sequence[Candidate]) -> tuple[str, Explored] | None:
    """Let things roam in the first arrangements, then in the best, and settle the best of all."""
    effort, narrowed = heat.job.effort, heat.cupboard.narrowed
    for candidate in varied(ranked, effort.searched, of_a_kind=OF_A_KIND):
        if heat.may_win(candidate):
            rig = roaming(candidate.rig, narrowed)
            heat.enter(candidate, rig, round(FIRST_SHARE * effort.evaluations), spread=True)
    if not heat.stands:
        return None
    for candidate in heat.best(FINALISTS):
        if not heat.is_perfect(candidate):
            rig = heat.stands[candidate].rig
            heat.enter(candidate, rig, round(FINAL_SHARE * effort.evaluations), spread=True)
    (best,) = heat.best(1)
    rig = settled(best.rig, heat.stands[best].best_rig, narrowed)
    heat.enter(best, rig, round(LAST_SHARE * effort.evaluations))
    return heat.outcome()


@dataclass(frozen=True, eq=False)
class _Stand:
    """Where the search of an arrangement stands: the rig that it moves in, and what it found."""

    rig: Rig
    explored: Explored
    best_rig: Rig
    others: tuple[Rig, ...]

    @property
    def value(self) -> float:
        return self.explored.found.value


class _Heat:
    """Arrangements that are searched beside each other, each from where it stood."""

    def __init__(self, judges: Judges, job: Job, cupboard: Cupboard) -> None:
        self._judges, self.job, self.cupboard = judges, job, cupboard
        self.stands: dict[Candidate, _Stand] = {}
        self.used = 0

    def enter(
        self, candidate: Candidate, rig: Rig, evaluations: int, *, spread: bool = False
    ) -> None:
        """Search an arrangement for the first time, or further; only the first after a stop.

        Parameters
        ----------
        rig : Rig
            The arrangement with the freedoms to search it in.
        spread : bool
            Whether points all over those are looked at, each time others.
        """
        if evaluations <= 0 or (self.stands and self.job.should_stop()):
            return
        before = self.stands.get(candidate)
        self._judges.use(rig)
        bench = self._judges.bench
        evaluations = max(evaluations, math.ceil(ONE_STEP * len(bench.space.geometry)))
        begin: list[Rig] | None = None if spread else [rig]
        job = self.job
        if before is not None:
            begin = [before.best_rig, *before.others] if spread else [before.best_rig]
            job = replace(job, seed=job.seed + 1)
        found = explored(self._judges, job, evaluations, begin, spread=spread)
        if found is None:
            return
        self.used += found.found.evaluations
        if before is None or found.found.value <= before.value:
            best, *others = [bench.rig_at(s.point) for s in found.stands]
            self.stands[candidate] = _Stand(rig, found, best, tuple(others))

    def best(self, count: int) -> list[Candidate]:
        """Return the best so far, a little for each thing counted."""
        return sorted(self.stands, key=self._rank)[:count]

    def may_win(self, candidate: Candidate) -> bool:
        """Whether a perfect arrangement of as few things is not there yet."""
        return all(
            self._rank(one) > candidate.value - candidate.bare + PERFECT for one in self.stands
        )

    def is_perfect(self, candidate: Candidate) -> bool:
        """Whether there is nothing left to win for an arrangement."""
        return self.stands[candidate].value < PERFECT

    def outcome(self) -> tuple[str, Explored]:
        """Return the best arrangement's name and its search; the judges use its rig."""
        (best,) = self.best(1)
        stand = self.stands[best]
        if self._judges.rig is not stand.rig:
            self._judges.use(stand.rig)
        found = replace(stand.explored.found, evaluations=self.used)
        return best.name, replace(stand.explored, found=found)

    def _rank(self, one: Candidate) -> float:
        return self.stands[one].value + one.value - one.bare


def _tell(job: Job, stage: str, done: int, rig: Rig) -> None:
    if job.progress is not None:
        job.progress(
            SearchProgress(stage=stage, done=done, of=job.effort.evaluations, score=0.0, rig=rig)
        )
