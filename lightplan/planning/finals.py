"""Which of the arrangements that ended close to each other is planned: what most hands build."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.planning.choosing import SIMPLER_PER_THING
from lightplan.planning.finishing import mean_of_builds, sturdiest

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.merit.judged import Judged
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.heats import Finalist
    from lightplan.planning.judging_pool import Judges

FINAL_BUILDS = 8
"""Builds of each by which arrangements are held against each other. Our choice."""


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
        things = [100.0 * SIMPLER_PER_THING * one.things for one, _, _ in found]
        at = max(range(len(found)), key=lambda i: stated[i] - lost[i] - things[i])
    else:
        at = 0
    one, best, detail = found[at]
    judges.use(one.rig, detail)
    return one, best


def _lost(judges: Judges, job: SearchJob, one: Finalist, best: Judged) -> float:
    """Return the points that builds of an arrangement lose in the mean."""
    judges.use(one.rig)
    light = judges.bench.sheet_samples(best.rig)
    return judges.scored([light])[0] - mean_of_builds(judges, job, best.rig, light, FINAL_BUILDS)
