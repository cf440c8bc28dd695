"""A plan with everything that may be used: arrangements, camera, and the search within them."""

from __future__ import annotations

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

FIRST_SHARE, QUICK_SHARE = 0.2, 0.26
"""Of the evaluations, for each of the arrangements that are searched first: enough for a step."""


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

    The judges use its rig from here on. The first few arrangements of different kinds share
    half of the evaluations, the best of them gets the rest.
    """
    _tell(job, "looking at arrangements", 0, cupboard.given)
    ranked = candidates(judges, cupboard, quick=job.effort.is_quick)
    if not ranked:
        return None
    count = job.effort.evaluations
    share = QUICK_SHARE if job.effort.is_quick else FIRST_SHARE
    share = 0.5 if job.effort.searched == 1 else share
    tried: list[tuple[float, Candidate, Explored]] = []
    for candidate in varied(ranked, job.effort.searched):
        if tried and job.should_stop():
            break
        judges.use(candidate.rig)
        result = explored(judges, job, round(share * count), [candidate.rig], spread=False)
        if result is not None:
            rank = result.found.value + candidate.value - candidate.bare
            tried.append((rank, candidate, result))
    if not tried:
        return None
    _, best, result = min(tried, key=lambda one: one[0])
    rig = judges_rig(judges, best, result)
    used = sum(one.found.evaluations for _, _, one in tried)
    if not job.should_stop() and count > used:
        more = explored(judges, job, count - used, [rig], spread=not job.effort.is_quick)
        result = result if more is None or more.found.value > result.found.value else more
    found = replace(result.found, evaluations=result.found.evaluations + used)
    return best.name, replace(result, found=found)


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
