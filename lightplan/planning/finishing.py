"""The last steps of a plan: fewer things, finer light, and the list of moves."""

from __future__ import annotations

import contextlib
from dataclasses import replace

from lightplan.arrays import Doubles
from lightplan.errors import RigError
from lightplan.planning.effort import Job
from lightplan.planning.engine_model import EngineModel, polish_detail
from lightplan.planning.merit import FORGIVEN_MM, Bench, Judged
from lightplan.planning.pool import Judges
from lightplan.planning.result import Move
from lightplan.planning.search import Counter, Halt, StopRule
from lightplan.planning.simplex import simplex
from lightplan.planning.variables import Space, value_of
from lightplan.scene import Rig

SIMPLER_BY = 1.0
"""Points of score that one thing less on the table is worth."""


def rig_at(bench: Bench, point: Doubles) -> Rig:
    """Return the rig at a point, or the bench's own where the parts refuse it."""
    try:
        return bench.rig_at(point)
    except RigError:
        return bench.rig


def simpler(judges: Judges, job: Job, best: Judged) -> tuple[Judged, tuple[str, ...]]:
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
        name, best_try = max(fair, key=lambda pair: pair[1].score)
        if best_try.score < best.score - SIMPLER_BY:
            break
        best = best_try
        left_out.append(name)
        judges.use(best.rig)
    return best, tuple(left_out)


def polished(judges: Judges, job: Job, best: Judged) -> Judged:
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
        tries = [best.rig, rig_at(bench, counter.point)]
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
