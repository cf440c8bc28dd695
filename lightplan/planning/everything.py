"""A plan with everything that may be used: arrangements, camera, and the search within them."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import final_detail
from lightplan.planning.choosing import Candidate, candidates, detail_for, varied
from lightplan.planning.cupboard import Cupboard, Item, cupboard_of
from lightplan.planning.effort import Effort, Job, Report, SearchProgress
from lightplan.planning.finishing import moves, sturdiest
from lightplan.planning.plan import explored, finished, no_worse
from lightplan.planning.pool import Judges
from lightplan.planning.twins import named_as_given
from lightplan.planning.words_of_no import nothing_can_be_built, nothing_shines

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.result import NoPlan, Plan
    from lightplan.scene import Card, Lamp, Rig, Shell
    from lightplan.scene.setting_errors import SettingErrors
    from lightplan.search.multistart import Explored

FIRST_SHARE, QUICK_SHARE = 0.1, 0.26
"""Of the evaluations, for each of the arrangements that are searched first: a step or two."""
FINALISTS, FINAL_SHARE, LAST_SHARE = 3, 0.2, 0.4
"""How many of them go on, with which share of the evaluations, and what the best gets after it.
Where nothing but one look decided, plans from bare cupboards ended up to 40 points below the
same things arranged by hand (`tests/benchmarks/cupboards.py`): a step tells much more."""


ONE_STEP = 2.5
"""Evaluations to a dimension without which a search takes no step: it looks both ways."""


def plan_everything(
    rig: Rig,
    items: Sequence[Item] = (),
    *,
    seed: int = 0,
    effort: Effort | None = None,
    errors: SettingErrors | None = None,
    progress: Report | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan | NoPlan:
    """Return the best plan that a rig's things and what else is owned allow.

    Parameters
    ----------
    rig : Rig
        Its freedoms narrow what its things may do, what is locked stays; all else is open.
    items : sequence of Item
        Owned beyond what stands in the rig.
    seed, effort, errors, progress, should_stop
        As for `lightplan.planning.plan.plan`.
    """
    job = Job.of(seed, effort, errors, progress, should_stop)
    cupboard = cupboard_of(rig, items)
    if not cupboard.has_light:
        return nothing_shines()
    with Judges(rig, detail_for(rig), helpers=job.effort.helpers) as judges:
        before = None if job.effort.is_quick else judges.predicted(rig, final_detail())
        found = chosen(judges, job, cupboard)
        if found is None:
            return nothing_can_be_built(cupboard)
        name, result = found
        best = sturdiest(judges, job, result)
        whole = finished(judges, job, before, best, result.found)
        better = no_worse(judges, job, before, replace(whole, arrangement=name), rig)
        return _as_written(better, rig)


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
    judges_rig(judges, best, heat.results[best])
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


def opened(rig: Rig, items: Sequence[Item], *, seed: int = 0) -> Rig:
    """Return the best arrangement of a quick search, with the freedoms that it was found in.

    For those who search on in a rig that leaves everything open. Where nothing can be built,
    the rig as it was given.
    """
    job = Job.of(seed, Effort(evaluations=100, polish=0, searched=2, is_quick=True))
    cupboard = cupboard_of(rig, items)
    if not cupboard.has_light:
        return rig
    with Judges(rig, detail_for(rig)) as judges:
        found = chosen(judges, job, cupboard)
        if found is None:
            return rig
        return judges.bench.rig_at(found[1].found.point)


def judges_rig(judges: Judges, candidate: Candidate, result: Explored) -> Rig:
    """Have the judges use a candidate again; return the best rig of its search."""
    if judges.rig is not candidate.rig:
        judges.use(candidate.rig)
    return judges.bench.rig_at(result.found.point)


def _as_written(found: Plan, given: Rig) -> Plan:
    """Return the plan in the maker's order and with the maker's freedoms, of what is left."""
    found = named_as_given(found, given)
    rig, old = found.rig, given.element_names()
    names = {"camera", *rig.element_names()}
    place = {name: number for number, name in enumerate(old)}

    def order(thing: Lamp | Card | Shell) -> int:
        return place.get(thing.name, len(place))

    rig = replace(
        rig,
        lamps=tuple(sorted(rig.lamps, key=order)),
        cards=tuple(sorted(rig.cards, key=order)),
        shells=tuple(sorted(rig.shells, key=order)),
        freedoms=tuple(f for f in given.freedoms if f.element in names),
    )
    return replace(
        found,
        rig=rig,
        moves=moves(given, rig),
        brought_in=tuple(n for n in rig.element_names() if n not in place),
        left_out=tuple(n for n in old if n not in names),
    )


def _tell(job: Job, stage: str, done: int, rig: Rig) -> None:
    if job.progress is not None:
        job.progress(
            SearchProgress(stage=stage, done=done, of=job.effort.evaluations, score=0.0, rig=rig)
        )
