"""The last steps of a plan: one of the candidates, fewer things, finer light, the moves."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.merit.engine_model import final_detail, polish_detail
from lightplan.merit.judged import FORGIVEN_MM, Judged
from lightplan.planning.result import PlannedMove
from lightplan.planning.robust import built_or_right, draws
from lightplan.scene import Card
from lightplan.scene.clearance import broken, set_down, total_excess_mm
from lightplan.scene.dimensions import element_of, value_of
from lightplan.scene.edits import Remove, Set, dimensions_of, edited
from lightplan.scene.rounding import LENGTH_DIGITS, rounded
from lightplan.scene.setting_errors import built, error_dimensions
from lightplan.scene.supports import lies_across
from lightplan.search.trust_region import TRIALS, most_traced

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Singles
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig
    from lightplan.search.multistart import Explored

SIMPLER_BY = 0.4
"""Points of score that a table with fewer things on it is worth, however many are left out."""
LAST_RADIUS = 0.04
"""Of the first step under finer light, as a share of each dimension's range."""
OVERSTATED = 0.5
"""Points that the grid of a search may make of a rig above the one on which its score is stated,
before the last steps are taken on the latter. Our choice."""
_CANDIDATES = 3
_NEARLY_AS_GOOD = 0.05
"""Difference of the value within which a sturdier rig is preferred (5 % of the score)."""
_TRIAL_BUILDS = 4
_HAIR_MM, _HAIRS = 0.3, 6


def sturdiest(judges: Judges, job: SearchJob, explored: Explored) -> Judged:
    """Return the candidate that is best under finer light, less what setting errors cost it.

    The judges use the finer light from here on.
    """
    best = explored.found.value
    count = 1 if job.should_stop() else _CANDIDATES
    good = [s for s in explored.stands if s.value < best + _NEARLY_AS_GOOD][:count]
    judged = judges.refined([judges.bench.rig_at(stand.point) for stand in good])
    lost = np.zeros(len(judged))
    if len(judged) > 1 and not job.should_stop():
        scores = np.array(judges.scores([rig for j in judged for rig in _trials(j.rig, job)]))
        lost = [j.score for j in judged] - scores.reshape(len(judged), -1).mean(axis=1)
    judges.use(judges.rig, polish_detail(judges.rig, judges.detail.sheet_long_side))
    finer = judges.refined([j.rig for j in judged])
    stated = _as_predicted(judges, job, finer)

    def order(at: int) -> tuple[bool, float, float]:
        one = finer[at]
        return one.excess_mm > FORGIVEN_MM, float(lost[at]) - stated[at], one.value

    return finer[min(range(len(finer)), key=order)]


def _as_predicted(judges: Judges, job: SearchJob, judged: Sequence[Judged]) -> list[float]:
    """Return the scores of candidates; of stamped foil as a prediction states them.

    A search leaves out the stamped edges, and some candidates shine into them.
    """
    if judges.rig.sheet.foil.relief is None or len(judged) < 2 or job.effort.is_by_eye:
        return [one.score for one in judged]
    return judges.stated([one.rig for one in judged])


def _trials(rig: Rig, job: SearchJob) -> list[Rig]:
    """Return a few builds with errors; the camera is left as it is, which is quicker."""
    errors = replace(job.errors, camera_mm=0.0, bow_mm=0.0)
    dimensions = error_dimensions(rig, errors)
    if not dimensions:
        return [rig] * _TRIAL_BUILDS
    return [built(rig, dimensions, row) for row in draws(dimensions, _TRIAL_BUILDS, seed=job.seed)]


def mean_of_builds(judges: Judges, job: SearchJob, rig: Rig, light: Singles, count: int) -> float:
    """Return the mean score of a few builds of a rig that the judges use, each traced in full.

    Parameters
    ----------
    light : (k, 3) float32
        The rig's own light, known finer than the judges tell: only changes are taken from them.
    count : int
        How many builds.
    """
    own, others = lights_of_builds(judges, job, rig, count)
    return float(np.mean(judges.scored([np.maximum(one + (light - own), 0) for one in others])))


def lights_of_builds(
    judges: Judges, job: SearchJob, rig: Rig, count: int
) -> tuple[Singles, list[Singles]]:
    """Return the light (k, 3) of a rig that the judges use, and of a few builds of it."""
    dimensions = error_dimensions(rig, job.errors)
    rows = draws(dimensions, count, seed=job.seed)
    own, *others = judges.lights([rig, *(built_or_right(rig, dimensions, row) for row in rows)])
    return own, others


def simpler(judges: Judges, job: SearchJob, best: Judged) -> tuple[Judged, tuple[str, ...]]:
    """Leave things out, one after the other, while the score hardly falls.

    Not from a plan that is none to keep: what does not help it is not known yet.
    """
    left_out: list[str] = []
    least = best.score - SIMPLER_BY
    while best.judgement.verdict != "retake" and not job.should_stop():
        names = _optional(best.rig)
        judged = judges.solved([edited(best.rig, Remove(name)) for name in names])
        fair = [(n, j) for n, j in zip(names, judged, strict=True) if j.excess_mm <= FORGIVEN_MM]
        if not fair:
            break
        name, best_try = max(fair, key=lambda pair: pair[1].score)
        if best_try.score < least:
            break
        best = best_try
        left_out.append(name)
        judges.use(best.rig)
    return best, tuple(left_out)


def polished(judges: Judges, job: SearchJob, best: Judged) -> tuple[Judged, Singles]:
    """Take the last small steps under finer light; return the rig and its samples.

    Where the grid of the search makes more of a rig than that on which its score is stated, the
    steps are taken on that one, and are as many lights as one of them takes: a certificate's split
    was worth 91.6 on the first and 89.7 on the other, and 91.0 there two steps farther. Samples
    are on the grid of the search in any case.
    """
    judges.use(best.rig)
    search, left = judges.detail, job.effort.polish
    if left and not job.should_stop():
        stated = replace(search, sheet_long_side=final_detail().sheet_long_side)
        judges.use(best.rig, stated)
        here = judges.refined([best.rig])[0]
        if best.score - here.score > OVERSTATED:
            best, left = here, max(left, least_polish(len(judges.bench.space.geometry)))
        else:
            judges.use(best.rig, search)
    best = _stepped(judges, job, best, left)
    if judges.detail is not search:
        judges.use(best.rig, search)
    return best, judges.bench.sheet_samples(best.rig)


def least_polish(dimensions: int) -> int:
    """Return how many lights a step takes that measures its model anew, and one after it.

    >>> least_polish(14)
    34
    """
    return 2 * dimensions + 2 * TRIALS


def _stepped(judges: Judges, job: SearchJob, best: Judged, left: int) -> Judged:
    """Return where small steps lead from a rig in the judges' light, of so many at the most."""
    bench = judges.bench
    dimensions = len(bench.space.geometry)
    stand = bench.stand_at(best.rig, LAST_RADIUS)
    rigs = [best.rig]
    while bench.size and most_traced(stand, dimensions) <= left and not job.should_stop():
        if stand.is_settled or stand.gain < job.effort.tolerance:
            break
        stand = judges.step([stand])[0]
        left -= stand.used
        rigs[1:] = [bench.rig_at(stand.point)]
    return min(judges.refined(rigs), key=lambda j: j.value)


def put_down(judges: Judges, rig: Rig, light: Singles) -> tuple[Rig, Singles]:
    """Return a rig as a maker can set it, in whole figures, its powers set anew, and its light."""
    down = rounded(set_down(rig))
    if down is rig:
        return rig, light
    down = as_set(judges, judges.refined([down])[0].rig)
    return down, judges.bench.sheet_samples(down)


def as_set(judges: Judges, rig: Rig) -> Rig:
    """Return a rig in whole figures, boards down on the table, with no rule broken by these."""
    return within_rules(rounded(set_down(rig)), judges.bench.excused)


def within_rules(rig: Rig, excused: frozenset[tuple[str, ...]]) -> Rig:
    """Return a rig whose things were moved a hair where figures cut short broke a rule.

    A search goes up to a rule; a lamp that stood half a millimetre into what it may touch
    stands a little more than that into it once its place is told in tenths.

    Parameters
    ----------
    excused : frozenset of tuple of str
        (rule, *elements) that fixed things break.
    """
    for _ in range(_HAIRS):
        told = [x for x in broken(rig) if (x.rule, *x.elements) not in excused]
        if not told:
            break
        tries = [_shifted(rig, *shift) for shift in _shifts(rig, told[0].elements)]
        if not tries:
            break
        rig = min(tries, key=lambda one: total_excess_mm(one, apart_from=excused))
    return rig


def _shifts(rig: Rig, names: Sequence[str]) -> list[tuple[str, str, float]]:
    """Return the ways in which the free things of some names may be moved by a hair."""
    free = {(f.element, f.dimension) for f in rig.freedoms}
    return [
        (name, dimension, step)
        for name in names
        for dimension in ("z_mm", "y_mm", "x_mm")
        if (name, dimension) in free
        for step in (_HAIR_MM, -_HAIR_MM)
    ]


def _shifted(rig: Rig, name: str, dimension: str, step: float) -> Rig:
    value = value_of(rig, name, dimension) + step
    return edited(rig, Set(name, dimension, round(value, LENGTH_DIGITS)))


def _optional(rig: Rig) -> list[str]:
    """Return what the plan was free to place, and so may do without; one lamp stays."""
    free = {f.element for f in rig.freedoms if f.dimension != "trim_stops"}
    lamps = [lamp.name for lamp in rig.lamps if lamp.on]
    droppable = [card.name for card in rig.cards] + (lamps if len(lamps) > 1 else [])
    return [name for name in droppable if name in free]


def moves(given: Rig, planned: Rig) -> tuple[PlannedMove, ...]:
    """Return what changes from one rig to the other, largest first, powers last.

    Of things that are in both; what is brought in or left out is told by its name, and what
    lies level on books is not aimed.
    """
    both = {"camera", *given.element_names()} & {"camera", *planned.element_names()}
    found = []
    for element in ("camera", *planned.element_names()):
        thing = planned.camera if element == "camera" else element_of(planned, element)
        level = isinstance(thing, Card) and lies_across(thing)
        for dimension in dimensions_of(thing) if element in both else ():
            if level and dimension.startswith("aim_"):
                continue  # it lies flat: nobody aims it
            before = value_of(given, element, dimension)
            after = value_of(planned, element, dimension)
            if abs(after - before) > (0.02 if dimension == "trim_stops" else 0.5):
                found.append(
                    PlannedMove(element=element, dimension=dimension, before=before, after=after)
                )
    return tuple(
        sorted(found, key=lambda m: (m.dimension == "trim_stops", -abs(m.after - m.before)))
    )
