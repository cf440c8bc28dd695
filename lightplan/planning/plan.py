"""From a rig with freedoms and a look to the best rig that survives its making."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from lightplan.arrays import Doubles
from lightplan.errors import RigError
from lightplan.planning.constraints import Limit, broken
from lightplan.planning.engine_model import (
    EngineModel,
    final_detail,
    long_side_for,
    polish_detail,
    search_detail,
)
from lightplan.planning.errors_of_hand import SettingErrors, built, error_dimensions
from lightplan.planning.merit import FORGIVEN_MM, Bench, Judged
from lightplan.planning.pool import Judges
from lightplan.planning.result import Move, NoPlan, Plan
from lightplan.planning.robust import draws, judge_builds
from lightplan.planning.search import Counter, Found, Halt, StopRule, minimise
from lightplan.planning.simplex import simplex
from lightplan.planning.starts import starts
from lightplan.planning.variables import Space, value_of
from lightplan.planning.wishes import wishes
from lightplan.scene import Rig

SIMPLER_BY = 1.0
"""Points of score that one thing less on the table is worth."""
_CANDIDATES = 4
_TRIAL_BUILDS = 8


@dataclass(frozen=True, kw_only=True)
class Effort:
    """How hard to search.

    Parameters
    ----------
    evaluations : int
        Rigs to judge in the search.
    seconds : float or None
        Longest time for the search; with a limit the plan may differ from run to run.
    polish : int
        Rigs to judge under finer light at the end.
    builds : int
        Builds with errors, for the yield.
    helpers : int
        Processes besides this one; the plan does not depend on it.
    tolerance : float
        Share of the score that is not worth searching for.
    """

    evaluations: int = 400
    seconds: float | None = None
    polish: int = 60
    builds: int = 256
    helpers: int = 0
    tolerance: float = 0.002


@dataclass(frozen=True, kw_only=True)
class Progress:
    """What the search has so far: the stage, evaluations of how many, score, and the rig."""

    stage: str
    done: int
    of: int
    score: float
    rig: Rig


Report = Callable[[Progress], None]


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
    job = _Job(
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
    job = _Job(Effort() if effort is None else effort, SettingErrors(), seed, None, should_stop)
    with Judges(rig, search_detail(long_side_for(rig)), helpers=job.effort.helpers) as judges:
        search = _searched(judges, job, job.effort.evaluations)
        best = judges.bench.judge_solved(_rig_at(judges.bench, search.found.point))
        if best.excess_mm <= FORGIVEN_MM:
            return best
        in_the_way = counted(broken(best.rig), judges.bench.excused)
    return NoPlan(in_the_way=in_the_way, reason=_reason(in_the_way), wish="", nearest=None)


@dataclass(frozen=True)
class _Job:
    effort: Effort
    errors: SettingErrors
    seed: int
    progress: Report | None
    should_stop: Callable[[], bool]


@dataclass(frozen=True)
class _Search:
    """What a search found, and other good points apart from the best."""

    found: Found
    points: tuple[Doubles, ...]


def _searched(judges: Judges, job: _Job, evaluations: int) -> _Search:
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


def _sturdiest(judges: Judges, job: _Job, search: _Search) -> Judged:
    """Return the candidate whose builds score best on average, powers refined."""
    bench = judges.bench
    points = search.points if search.points else (search.found.point,)
    rigs = [_rig_at(bench, point) for point in points]
    judged = [bench.judge_solved(rig) for rig in rigs]
    sound = [j for j in judged if j.excess_mm <= FORGIVEN_MM]
    if len(sound) < 2 or job.should_stop():
        return min(judged, key=lambda j: j.value)
    trials = [_trials(j.rig, job) for j in sound]
    scores = np.array(judges.scores([r for rigs in trials for r in rigs]))
    means = scores.reshape(len(sound), -1).mean(axis=1)
    return sound[int(np.argmax(means))]


def _rig_at(bench: Bench, point: Doubles) -> Rig:
    try:
        return bench.rig_at(point)
    except RigError:
        return bench.rig


def _trials(rig: Rig, job: _Job) -> list[Rig]:
    """Return a few builds with errors; the camera is left as it is, which is quicker."""
    errors = replace(job.errors, camera_mm=0.0, bow_mm=0.0)
    dimensions = error_dimensions(rig, errors)
    if not dimensions:
        return [rig] * _TRIAL_BUILDS
    return [built(rig, dimensions, row) for row in draws(dimensions, _TRIAL_BUILDS, seed=job.seed)]


def _finished(judges: Judges, job: _Job, given: Rig, best: Judged, search: _Search) -> Plan:
    best, left_out = _simpler(judges, job, best)
    best = _polished(judges, job, best)
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


def _simpler(judges: Judges, job: _Job, best: Judged) -> tuple[Judged, tuple[str, ...]]:
    """Leave things out, one after the other, while the score hardly falls."""
    left_out: list[str] = []
    while not job.should_stop():
        tries = [(name, _without(best.rig, name)) for name in _optional(best.rig)]
        judged = []
        for name, rig in tries:
            bench = Bench(rig, EngineModel(rig, judges.detail))
            judged.append((name, bench.judge_solved(rig, steps=(0.25,))))
        fair = [(n, j) for n, j in judged if j.excess_mm <= FORGIVEN_MM]
        if not fair:
            break
        name, simpler = max(fair, key=lambda pair: pair[1].score)
        if simpler.score < best.score - SIMPLER_BY:
            break
        best = simpler
        left_out.append(name)
        judges.use(best.rig)
    return best, tuple(left_out)


def _polished(judges: Judges, job: _Job, best: Judged) -> Judged:
    """Take the last small steps under finer light."""
    judges.use(best.rig, polish_detail(judges.detail.sheet_long_side))
    bench = judges.bench
    start = bench.point_of(best.rig)
    if start.size and job.effort.polish > 0 and not job.should_stop():
        counter = Counter(
            judges.values,
            StopRule(evaluations=job.effort.polish, should_stop=job.should_stop),
            None,
        )
        with contextlib.suppress(Halt):
            simplex(counter.one, start, size=0.04, tolerance=job.effort.tolerance)
        tries = [best.rig, _rig_at(bench, counter.point)]
    else:
        tries = [best.rig]
    return min((bench.judge_solved(rig) for rig in tries), key=lambda j: j.value)


def _optional(rig: Rig) -> list[str]:
    """Return what the plan was free to place, and so may do without; one lamp stays."""
    free = {f.element for f in rig.freedoms if f.dimension != "trim_stops"}
    lamps = [lamp.name for lamp in rig.lamps if lamp.on]
    droppable = [card.name for card in rig.cards] + (lamps if len(lamps) > 1 else [])
    return [name for name in droppable if name in free]


def _without(rig: Rig, name: str) -> Rig:
    return replace(
        rig,
        lamps=tuple(x for x in rig.lamps if x.name != name),
        cards=tuple(x for x in rig.cards if x.name != name),
        freedoms=tuple(f for f in rig.freedoms if f.element != name),
    )


def moves(given: Rig, planned: Rig) -> tuple[Move, ...]:
    """Return what changes from one rig to the other, largest first, powers last."""
    names = {*planned.element_names(), "camera"}
    variables = Space.of(given)
    found = []
    for variable in (*variables.geometry, *variables.trims):
        if variable.element in names:
            before = value_of(given, variable.element, variable.dimension)
            after = value_of(planned, variable.element, variable.dimension)
            if abs(after - before) > (0.02 if variable.dimension == "trim_stops" else 0.5):
                found.append(
                    Move(
                        element=variable.element, dimension=variable.dimension,
                        before=before, after=after,
                    )
                )  # fmt: skip
    return tuple(
        sorted(found, key=lambda m: (m.dimension == "trim_stops", -abs(m.after - m.before)))
    )


def _no_plan(judges: Judges, job: _Job, given: Rig, best: Judged) -> NoPlan:
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
