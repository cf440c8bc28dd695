"""Which of the arrangements that ended close to each other is planned: what most hands build."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import search_detail
from lightplan.planning.choosing import SIMPLER_PER_THING, value_of
from lightplan.planning.finishing import mean_of_builds, sturdiest
from lightplan.planning.heats import rivals
from lightplan.planning.plan_end import PlanEnd, ended_at
from lightplan.planning.robust import ALLOWED_LOSS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.merit.judged import Judged
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.heat import Finalist, Heat
    from lightplan.planning.judging_pool import Judges
    from lightplan.search.minimise import Found

FINAL_BUILDS = 8
"""Builds of each by which arrangements are held against each other. Our choice."""
COMPARED = 48
"""The same where builds of the best lose much: their scores lie far apart, so that the mean of 16
was 4 points off for a rose gold tag (`tests/benchmarks/cupboards.py`, `--draw 929`, 9)."""


def best_end(judges: Judges, job: SearchJob, heat: Heat) -> tuple[PlanEnd, Found]:
    """Return the end of the arrangement whose builds are worth most, and how the search went.

    Where builds of the one that is best as drawn lose more in the mean than one that is right may,
    whatever last steps it took, what is close to that which they are worth goes to its own end
    too, and builds of all decide: others than those by which steps were taken, for these have
    been made to look well.
    """
    one, best = sturdiest_of(judges, job, heat.outcome())
    ended, detail = ended_at(judges, job, best, one.name), judges.detail
    found = one.explored.found
    if ended.lost < ALLOWED_LOSS or job.effort.is_quick or job.should_stop():
        return ended, found
    worth = _built(judges, job, one, ended)
    for rival in rivals(heat, one, value_of(worth / 100.0)):
        if job.should_stop():
            break
        judges.use(rival.rig, heat.detail)
        best = sturdiest(judges, job, rival.explored)
        other = ended_at(judges, job, best, rival.name)
        if (its_worth := _built(judges, job, rival, other)) > worth:
            ended, detail, worth = other, judges.detail, its_worth
    judges.use(ended.rig, detail)
    return ended, replace(found, evaluations=heat.used)


def sturdiest_of(
    judges: Judges, job: SearchJob, finalists: Sequence[Finalist]
) -> tuple[Finalist, Judged]:
    """Return the arrangement whose builds are worth most, and the best of its candidates.

    A search's light is coarser than the one that states a score, and knows no hand that sets a
    lamp a little off. Where two arrangements end close to each other, that decides; a little is
    taken off for each thing to set up.

    Parameters
    ----------
    finalists : sequence of Finalist
        At least one, the best by their searches first. The judges use the rig of the one that is
        returned, under finer light.
    """
    search = judges.detail
    found = []
    for one in finalists[: 1 if job.should_stop() else None]:
        judges.use(one.rig, search)
        best = sturdiest(judges, job, one.explored)
        found.append((one, best, judges.detail))
    if len(found) > 1 and not job.should_stop():
        stated = judges.stated([best.rig for _, best, _ in found])
        lost = [_lost(judges, job, one, best) for one, best, _ in found]
        things = [_off_for_things(one) for one, _, _ in found]
        at = max(range(len(found)), key=lambda i: stated[i] - lost[i] - things[i])
    else:
        at = 0
    one, best, detail = found[at]
    judges.use(one.rig, detail)
    return one, best


def _built(judges: Judges, job: SearchJob, one: Finalist, ended: PlanEnd) -> float:
    """Return what builds of an arrangement's end are worth: no more than it is told itself."""
    rig, detail = ended.rig, judges.detail
    judges.use(rig, search_detail(rig, detail.sheet_long_side))
    others = replace(job, seed=job.seed + 1)
    mean = mean_of_builds(judges, others, rig, ended.light, COMPARED)
    judges.use(rig, detail)
    return min(mean, judges.stated([rig])[0]) - _off_for_things(one)


def _off_for_things(one: Finalist) -> float:
    """Return the points that are taken off an arrangement for what is to be set up."""
    return 100.0 * SIMPLER_PER_THING * one.things


def _lost(judges: Judges, job: SearchJob, one: Finalist, best: Judged) -> float:
    """Return the points that builds of an arrangement lose in the mean."""
    judges.use(one.rig)
    light = judges.bench.sheet_samples(best.rig)
    return judges.scored([light])[0] - mean_of_builds(judges, job, best.rig, light, FINAL_BUILDS)
