"""A last step away from the edge that builds fall over, where hands would spoil a plan."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.merit.engine_model import search_detail
from lightplan.planning.finishing import as_set, lights_of_builds
from lightplan.scene.setting_errors import error_dimensions
from lightplan.search.trust_region import survey, trials

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig

FRAGILE = 3.0
"""Points that builds lose in the mean from which a plan is worth a step to sturdier ground."""
RADIUS = 0.15
"""Of that step, as a share of each dimension's range: farther than one that polishes goes."""
BUILDS, JUDGED_BY = 24, 12
"""Builds that are traced of a plan, and those of them that every point of a step is judged by:
the worst, the best, and evenly between. By 16 and 6, steps led to where these 16 stood well and
others 2 points worse (the aim's cupboard of `tests/benchmarks/longer_search.py`)."""
STEPS = 2
"""So often at the most, each from where the last one led."""
SHARES = (1.0, 0.4)
"""Of the way that a step's model leads, one after the other until builds win by it. Our choices."""
PAYS = 1.0
"""Points in the mean of builds for which a plan is changed."""


def sturdier(
    judges: Judges, job: SearchJob, rig: Rig, light: Singles
) -> tuple[Rig, Singles, float]:
    """Return a rig near a plan of which builds are worth more, or the plan; its light; their loss.

    The loss is by how many points builds are worth less in the mean than it is told as drawn, or
    was before a step; 0 where none were traced.

    The plan was made best as it is drawn, which may be at an edge (foil that is just lighter than
    its paper, a card that just fills the mirror) over which half of its builds fall. A step is
    judged by what builds score in the mean: their errors change the light of a point near by as
    they change the plan's. Whether it pays is told by other builds than those it was found with;
    where it does not, a shorter one is tried.

    Parameters
    ----------
    light : (k, 3) float32
        The plan's own, as the judges read it or finer.
    """
    judges.use(rig, search_detail(rig, judges.detail.sheet_long_side))
    if not judges.bench.size or not error_dimensions(rig, job.errors) or job.should_stop():
        return rig, light, 0.0
    first = best = _Tried.of(judges, job, rig, light)
    for _ in range(STEPS):
        if best.score - best.mean < FRAGILE or job.should_stop():
            break
        found = _step(judges, job, best)
        if found is None:
            break
        best = found
    return best.rig, best.light, max(first.score, best.score) - best.mean


@dataclass(frozen=True, eq=False)
class _Tried:
    """A rig with its light, score, and what some builds of it change of its light and score."""

    rig: Rig
    light: Singles
    changes: Sequence[Singles]
    score: float
    scores: Sequence[float]

    @property
    def mean(self) -> float:
        return float(np.mean(self.scores))

    def mean_of(self, which: Integers) -> float:
        """Return the mean of some of the builds."""
        return float(np.mean(np.asarray(self.scores)[which]))

    @classmethod
    def of(cls, judges: Judges, job: SearchJob, rig: Rig, light: Singles | None = None) -> _Tried:
        """Trace a rig and its builds; its own light may be known finer."""
        own, others = lights_of_builds(judges, job, rig, BUILDS)
        changes = [other - own for other in others]
        light = own if light is None else light
        sheets = [np.maximum(light + change, 0) for change in changes]
        score, *scores = judges.scored([light, *sheets])
        return cls(rig, light, changes, score, scores)


def _step(judges: Judges, job: SearchJob, best: _Tried) -> _Tried | None:
    """Return where a step leads, or a shorter one; None where builds win nothing by either."""
    bench = judges.bench
    picked = np.argsort(best.scores)[np.linspace(0, BUILDS - 1, JUDGED_BY).round().astype(int)]
    others = np.setdiff1d(np.arange(BUILDS), picked)
    problem = _Builds(judges, [best.changes[i] for i in picked])
    stand = bench.stand_at(best.rig, RADIUS)
    stand = replace(stand, value=problem.values_under([stand.values], [stand.point])[0])
    (surveyed,) = survey(problem, [stand], len(bench.space.geometry))
    ahead = trials(problem, surveyed)
    if 100.0 * (stand.value - ahead.value) < PAYS:
        return None
    way = ahead.point - stand.point
    for share in SHARES:
        if job.should_stop():
            return None
        found = _Tried.of(judges, job, as_set(judges, bench.rig_at(stand.point + share * way)))
        if found.mean_of(others) > best.mean_of(others) + PAYS:
            return found
    return None


@dataclass(frozen=True)
class _Builds:
    """The bench as a step asks it: a point is worth what builds of it are in the mean."""

    judges: Judges
    changes: Sequence[Singles]

    def smooth(self, points: Sequence[Doubles]) -> list[Singles | None]:
        return self.judges.shared("smooth", points)

    def values_under(self, parts: Sequence[Singles], points: Sequence[Doubles]) -> list[float]:
        return self.judges.bench.mean_values_under(parts, points, self.changes)

    def excess(self, points: Sequence[Doubles]) -> list[float]:
        return self.judges.shared("excess", points)
