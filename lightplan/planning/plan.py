"""From a rig with freedoms and a look to the best rig that survives its making."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from lightplan.arrays import Doubles
from lightplan.planning.constraints import Limit, broken
from lightplan.planning.effort import Effort as Effort
from lightplan.planning.effort import Job
from lightplan.planning.effort import Progress as Progress
from lightplan.planning.effort import Report as Report
from lightplan.planning.engine_model import (
    EngineModel,
    final_detail,
    long_side_for,
    search_detail,
)
from lightplan.planning.errors_of_hand import SettingErrors, built, error_dimensions
from lightplan.planning.finishing import moves, polished, rig_at, simpler
from lightplan.planning.merit import FORGIVEN_MM, Bench, Judged
from lightplan.planning.pool import Judges
from lightplan.planning.result import NoPlan, Plan
from lightplan.planning.robust import draws, judge_builds
from lightplan.planning.search import Found, StopRule, minimise
from lightplan.planning.starts import starts
from lightplan.planning.wishes import wishes
from lightplan.scene import Rig

_CANDIDATES = 4
_TRIAL_BUILDS = 8


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
    job = Job(
        Effort() if effort is None else effort,
        SettingErrors() if errors is None else errors,
        seed,
        progress,
        (lambda: False) if should_stop is None else should_stop,
    )
    side = long_side_for(rig)
    with Judges(rig, search_detail(side), helpers=job.effort.helpers) as judges:
        found = _searched(judges, job, job.effort.evaluations)
        best = _sturdiest(judges, job, found)
        if best.excess_mm > FORGIVEN_MM:
            return _no_plan(judges, job, rig, best)
        return _finished(judges, job, rig, best, found)


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
    job = Job(Effort() if effort is None else effort, SettingErrors(), seed, None, should_stop)
    with Judges(rig, search_detail(long_side_for(rig)), helpers=job.effort.helpers) as judges:
        search = _searched(judges, job, job.effort.evaluations)
        best = judges.bench.judge_solved(rig_at(judges.bench, search.found.point))
        if best.excess_mm <= FORGIVEN_MM:
            return best
        in_the_way = counted(broken(best.rig), judges.bench.excused)
    return NoPlan(in_the_way=in_the_way, reason=_reason(in_the_way), wish="", nearest=None)


@dataclass(frozen=True)
class _Search:
    """What a search found, and other good points apart from the best."""

    found: Found
    points: tuple[Doubles, ...]


def _searched(judges: Judges, job: Job, evaluations: int) -> _Search:
    bench = judges.bench
    points = [bench.with_solved_powers(p) for p in starts(judges.rig, bench.space)]
    archive: list[tuple[float, Doubles]] = []

    def remember(point: Doubles, value: float, used: int) -> None:
        archive.append((value, point))
        if job.progress is not None:
            score = 100 * float(np.exp(-max(value, 0.0)))
            job.progress(
                Progress(
                    stage="searching", done=used, of=evaluations, score=score,
                    rig=bench.space.apply(bench.rig, point[: len(bench.space.geometry)]),
                )
            )  # fmt: skip

    found = minimise(
        judges.values, points, seed=job.seed, on_best=remember,
        rule=StopRule(
            evaluations=evaluations, seconds=job.effort.seconds,
            tolerance=job.effort.tolerance, should_stop=job.should_stop,
        ),
    )  # fmt: skip
    return _Search(found, _apart(archive))


def _apart(archive: list[tuple[float, Doubles]]) -> tuple[Doubles, ...]:
    """Return the best few points that differ by a twentieth of the box somewhere."""
    kept: list[Doubles] = []
    best = min((value for value, _ in archive), default=0.0)
    for value, point in sorted(archive, key=lambda pair: pair[0]):
        apart = all(np.abs(point - other).max(initial=0.0) > 0.05 for other in kept)
        if apart and value < best + 0.05:
            kept.append(point)
        if len(kept) == _CANDIDATES:
            break
    return tuple(kept)


def _sturdiest(judges: Judges, job: Job, search: _Search) -> Judged:
    """Return the candidate whose builds score best on average, powers refined."""
    bench = judges.bench
    points = search.points if search.points else (search.found.point,)
    rigs = [rig_at(bench, point) for point in points]
    judged = [bench.judge_solved(rig) for rig in rigs]
    sound = [j for j in judged if j.excess_mm <= FORGIVEN_MM]
    if len(sound) < 2 or job.should_stop():
        return min(judged, key=lambda j: j.value)
    trials = [_trials(j.rig, job) for j in sound]
    scores = np.array(judges.scores([r for rigs in trials for r in rigs]))
    means = scores.reshape(len(sound), -1).mean(axis=1)
    return sound[int(np.argmax(means))]


def _trials(rig: Rig, job: Job) -> list[Rig]:
    """Return a few builds with errors; the camera is left as it is, which is quicker."""
    errors = replace(job.errors, camera_mm=0.0, bow_mm=0.0)
    dimensions = error_dimensions(rig, errors)
    if not dimensions:
        return [rig] * _TRIAL_BUILDS
    return [built(rig, dimensions, row) for row in draws(dimensions, _TRIAL_BUILDS, seed=job.seed)]


def _finished(judges: Judges, job: Job, given: Rig, best: Judged, search: _Search) -> Plan:
    best, left_out = simpler(judges, job, best)
    best = polished(judges, job, best)
    robust = judge_builds(
        best.rig, judges.lights, judges.bench,
        errors=job.errors, builds=job.effort.builds, seed=job.seed,
    )  # fmt: skip
    model = EngineModel(best.rig, final_detail())
    final = Bench(best.rig, model).judge(best.rig)
    before = Bench(given, EngineModel(given, final_detail())).judge(given)
    judgement = final.judgement
    result = Plan(
        rig=best.rig,
        score=judgement.score,
        start_score=before.judgement.score,
        judgement=judgement,
        measures=MappingProxyType(final.measures.values_by_name()),
        moves=moves(given, best.rig),
        left_out=left_out,
        robustness=robust,
        covered=MappingProxyType(model.seen_shares(best.rig)),
        stopped_because=search.found.stopped_because,
        evaluations=search.found.evaluations,
        limits=broken(best.rig),
    )
    if job.progress is not None:
        job.progress(Progress(stage="done", done=1, of=1, score=final.score, rig=best.rig))
    return result


def _no_plan(judges: Judges, job: Job, given: Rig, best: Judged) -> NoPlan:
    in_the_way = counted(broken(best.rig), judges.bench.excused)
    reason = _reason(in_the_way)
    for wish in wishes(given, in_the_way):
        if job.should_stop():
            break
        judges.use(wish.rig)
        search = _searched(judges, job, max(60, job.effort.evaluations // 3))
        found = _sturdiest(judges, job, search)
        if found.excess_mm <= FORGIVEN_MM:
            nearest = _finished(judges, job, wish.rig, found, search)
            return NoPlan(in_the_way=in_the_way, reason=reason, wish=wish.sentence, nearest=nearest)
    return NoPlan(in_the_way=in_the_way, reason=reason, wish="", nearest=None)


def _reason(in_the_way: tuple[Limit, ...]) -> str:
    return in_the_way[0].sentence if in_the_way else "no rig within the freedoms can be built"


def counted(limits: Iterable[Limit], excused: frozenset[tuple[str, ...]]) -> tuple[Limit, ...]:
    """Return limits that the plan could have kept."""
    return tuple(x for x in limits if (x.rule, *x.elements) not in excused)
