"""From a rig with freedoms and a look to the best rig that survives its making."""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import final_detail, polish_detail, search_detail
from lightplan.merit.judged import FORGIVEN_MM
from lightplan.planning.effort import Effort as Effort
from lightplan.planning.effort import Report as Report
from lightplan.planning.effort import SearchJob
from lightplan.planning.effort import SearchProgress as SearchProgress
from lightplan.planning.exploring import explored
from lightplan.planning.finishing import mean_of_builds, moves, sturdiest
from lightplan.planning.judging_pool import JudgedPrediction, Judges
from lightplan.planning.plan_end import PlanEnd, ended_at
from lightplan.planning.result import NoPlan, Plan
from lightplan.planning.robust import judge_builds, no_more_than
from lightplan.planning.starts import starts
from lightplan.planning.wishes import wishes
from lightplan.scene.clearance import Limit, broken

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from lightplan.merit.judged import Judged
    from lightplan.planning.helper import Predicted
    from lightplan.scene import Rig
    from lightplan.scene.setting_errors import SettingErrors
    from lightplan.search.minimise import Found

SURELY_BETTER = 3.0
"""Points above the rig as it was given from which a plan is taken to be better in any light."""
COMPARED_BUILDS = 16
"""Builds of each by which a plan is held against the rig as it was given. Our choices."""


def plan(
    rig: Rig,
    *,
    seed: int = 0,
    effort: Effort | None = None,
    errors: SettingErrors | None = None,
    progress: Report | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Plan | NoPlan:
    """Return the best plan that the rig's freedoms allow, or why there is none.

    Parameters
    ----------
    rig : Rig
        With freedoms; without any, the rig itself is judged and its tolerances given.
    seed : int
        Same rig, seed and effort, same plan.
    effort : Effort or None
    errors : SettingErrors or None
        What the maker's hands are expected to miss.
    progress : callable or None
        Told of each better rig.
    should_stop : callable or None
        Asked often; True ends the search with the best so far.
    """
    job = SearchJob.of(seed, effort, errors, progress, should_stop)
    with Judges(rig, helpers=job.effort.helpers) as judges:
        # here and now, while helpers are starting
        before = judges.predicted(rig, final_detail())
        searched = explored(judges, job, job.effort.evaluations)
        if searched is None:
            return _no_plan(judges, job, rig)
        best = sturdiest(judges, job, searched)
        ended = ended_at(judges, job, best)
        return finished(judges, job, before, ended, searched.found, given=rig)


def quick_plan(
    rig: Rig,
    *,
    seed: int = 0,
    effort: Effort | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> Judged | NoPlan:
    """Return the best rig of a search alone, without setting errors, to compare wishes.

    The score is that of the search's coarser light, good to a few points.
    """
    job = SearchJob.of(seed, effort, should_stop=should_stop)
    with Judges(rig, helpers=job.effort.helpers) as judges:
        searched = explored(judges, job, job.effort.evaluations)
        if searched is not None:
            return judges.bench.judge_refined(judges.bench.rig_at(searched.found.point))
        return _in_the_way(judges)


def finished(
    judges: Judges,
    job: SearchJob,
    before: Predicted | None,
    ended: PlanEnd,
    found: Found,
    *,
    given: Rig | None = None,
) -> Plan:
    """Return the plan of what a search ended at: predicted, its tolerances known.

    Parameters
    ----------
    before : Predicted or None
        The rig as it was given, predicted.
    given : Rig or None
        That rig; it is the plan where builds of it are worth more.
    """
    if given is not None:
        ended = _no_worse(judges, job, before, ended, given)
    told = _promised(judges, job, before, ended)
    if given is not None and before is not None and ended.predicted is None:
        kept = _as_given(judges, before, given) if _is_below(told, before) else ended
        if kept is not ended and _is_worth_less(judges, job, told, ended, kept):
            ended, told = kept, _promised(judges, job, before, kept)
    return replace(
        told,
        arrangement=ended.arrangement,
        left_out=ended.left_out,
        stopped_because=found.stopped_because,
        evaluations=found.evaluations,
    )


def _no_worse(
    judges: Judges, job: SearchJob, before: Predicted | None, ended: PlanEnd, given: Rig
) -> PlanEnd:
    """Return what a search ended at, or the given rig where builds of that are worth more.

    A short search may end below where it began: it looks under coarser light than what is
    stated in the end.
    """
    if before is None or before.judged.excess_mm > FORGIVEN_MM:
        return ended
    if judges.scored([ended.light])[0] >= before.judged.score + SURELY_BETTER:
        return ended
    predicted = judges.predicted(ended.rig, final_detail(), covers=True)
    ended = replace(ended, predicted=predicted)
    gained = predicted.judged.score - before.judged.score
    # who stops a search waits for no builds of both: what is hardly better may be worth less built
    if gained >= (SURELY_BETTER if job.should_stop() else 0.0):
        return ended
    as_given = _as_given(judges, before, given)
    if job.should_stop():
        return as_given
    return max(ended, as_given, key=lambda one: _worth(judges, job, one))


def _as_given(judges: Judges, before: Predicted, given: Rig) -> PlanEnd:
    """Return the rig as it was given, as what a search ended at."""
    judges.use(given, polish_detail(given, judges.detail.sheet_long_side))
    light = judges.bench.sheet_samples(given)
    return PlanEnd(rig=given, light=light, predicted=before)


def _is_below(told: Plan, before: Predicted) -> bool:
    """Whether a plan is worth less than the rig as it was given, which can be built."""
    if before.judged.excess_mm > FORGIVEN_MM or told.score is None:
        return False
    return told.score < before.judged.score


def _is_worth_less(
    judges: Judges, job: SearchJob, told: Plan, ended: PlanEnd, given: PlanEnd
) -> bool:
    """Whether builds of a plan are worth less than those of the given rig.

    The search's light took it to be surely better, and promised more than is stated. Who stops a
    search waits for no builds.
    """
    if told.score is None or job.should_stop():
        return job.should_stop()
    return min(_worth(judges, job, ended), told.score) < _worth(judges, job, given)


def _worth(judges: Judges, job: SearchJob, ended: PlanEnd) -> float:
    """Return what builds of a rig are worth: no more than the rig itself is predicted to be."""
    rig = ended.rig
    judges.use(rig, search_detail(rig, judges.detail.sheet_long_side))
    mean = mean_of_builds(judges, job, rig, ended.light, COMPARED_BUILDS)
    return mean if ended.predicted is None else min(mean, ended.predicted.judged.score)


def _promised(judges: Judges, job: SearchJob, before: Predicted | None, ended: PlanEnd) -> Plan:
    """Return a rig as a plan: predicted finely, and built with errors many times."""
    rig, known = ended.rig, ended.predicted
    judges.use(rig, search_detail(rig, judges.detail.sheet_long_side))
    if known is None or known.covered is None:
        ahead = judges.prediction(rig, judges.detail if job.effort.is_by_eye else final_detail())
    else:
        ahead = JudgedPrediction(known)
    robust = judge_builds(
        rig,
        judges.lights,
        judges.scored,
        errors=job.errors,
        builds=job.effort.builds,
        seed=job.seed,
        planned=ended.light,
        quick=job.effort.is_quick,
        should_stop=job.should_stop,
    )
    final = ahead.result()
    judgement = final.judged.judgement
    if judgement.score is not None:
        robust = no_more_than(robust, judgement.score)
    result = Plan(
        rig=rig,
        score=judgement.score,
        start_score=None if before is None else before.judged.judgement.score,
        judgement=judgement,
        measures=MappingProxyType(final.judged.measures.values_by_name()),
        moves=() if before is None else moves(before.judged.rig, rig),
        left_out=(),
        robustness=robust,
        covered=MappingProxyType({} if final.covered is None else final.covered),
        stopped_because="",
        evaluations=0,
        limits=broken(rig),
    )
    if job.progress is not None:
        job.progress(SearchProgress(stage="done", done=1, of=1, score=final.judged.score, rig=rig))
    return result


def _in_the_way(judges: Judges) -> NoPlan:
    """Return what is in the way where no start could be mended: the best of them tells."""
    bench = judges.bench
    tries = [bench.space.apply(bench.rig, p) for p in starts(judges.rig, bench.space)]
    nearest = min(tries, key=bench.excess_mm)
    in_the_way = counted(broken(nearest), bench.excused)
    reason = in_the_way[0].sentence if in_the_way else "no rig within the freedoms can be built"
    return NoPlan(in_the_way=in_the_way, reason=reason, wish="", nearest=None)


def _no_plan(judges: Judges, job: SearchJob, given: Rig) -> NoPlan:
    found = _in_the_way(judges)
    for wish in wishes(given, found.in_the_way):
        if job.should_stop():
            break
        judges.use(wish.rig)
        searched = explored(judges, job, max(60, job.effort.evaluations // 3))
        if searched is not None:
            best = sturdiest(judges, job, searched)
            before = judges.predicted(wish.rig, final_detail())
            ended = ended_at(judges, job, best)
            nearest = finished(judges, job, before, ended, searched.found)
            return replace(found, wish=wish.sentence, nearest=nearest)
    return found


def counted(limits: Iterable[Limit], excused: frozenset[tuple[str, ...]]) -> tuple[Limit, ...]:
    """Return limits that the plan could have kept."""
    return tuple(x for x in limits if (x.rule, *x.elements) not in excused)
