"""How a plan survives the hands that build it: yields, tolerances, what matters most.

Every error is tried alone, and followed to where the picture fails, or so far that no hand
misses by as much. Light adds up, so the light of a build with all errors at once is nearly the
sum of the single changes, and hundreds of builds are judged without tracing a ray. Where
errors only hurt together (a card just wide enough), the sum promises too much; so some builds
are traced in full, and where these differ more of them, those nearest to failing first, until the
sum is right about them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from lightplan.arrays import Doubles, Integers, Singles
from lightplan.errors import RigError
from lightplan.planning.result import Robustness, Tolerance
from lightplan.scene import Rig
from lightplan.scene.setting_errors import (
    FOLLOWED,
    HANDS,
    ErrorDimension,
    SettingErrors,
    built,
    error_dimensions,
)
from lightplan.search.spread import evenly

STEPS = (1.0, 3.0, FOLLOWED)
"""Errors that are tried one at a time, in units of the setting error; the last only where the
picture outlives those before it."""
ALLOWED_LOSS = 5.0
"""Points that a build may score less than was promised of the plan. Our choice: less is seen by
nobody, more by those who compare."""
WORST_CHECKED, FIRST_CHECKED = 16, 16
"""Builds that are traced in full: those that the sum calls worst, where joint errors show
first, and some drawn like all others. A sum that is wrong about 1 in 6 of these passes once in
20 times (0.83 to the 16th power), one that is wrong about the worst hardly ever."""
NEAREST_CHECKED, OTHERS_CHECKED, WRONG_OF_THEM = 16, 16, 1
"""Where the sum was wrong about one, so many more are traced at a time, nearest to failing and
drawn like all others; and about how many of these it may be wrong so that the rest is left to
it: 1 in 32 is less than the 5 in 100 that a promise may be off. Our choice."""
_AT_ONCE = 32

Lights = Callable[[Sequence[Rig]], Sequence[Singles]]
"""What the measures read of several rigs' sheets, (k, 3) each."""


Scores = Callable[[Sequence[Singles]], Sequence[float]]
"""Scores (0 to 100) of the plan's sheet under several lights."""


def good_score(planned: float) -> float:
    """Return the score that a build must reach to count as right: nearly what was promised.

    >>> good_score(95.0), good_score(70.0), good_score(3.0)
    (90.0, 65.0, 0.0)
    """
    return max(0.0, planned - ALLOWED_LOSS)


def no_more_than(found: Robustness, stated: float) -> Robustness:
    """Return what is promised of builds, lowered where the plan's own score is stated lower.

    Builds are judged under coarser light than the plan. Where that light thinks better of the
    plan by more than builds may lose, every build scores as much less.
    """
    gap = found.good_score + ALLOWED_LOSS - stated
    if gap <= ALLOWED_LOSS:
        return found
    return replace(
        found,
        good_score=good_score(stated),
        mean_score=max(0.0, found.mean_score - gap),
        worst_score=max(0.0, found.worst_score - gap),
    )


def draws(dimensions: Sequence[ErrorDimension], count: int, *, seed: int) -> Doubles:
    """Return evenly spread errors, (count, d), each within its size."""
    unit = evenly(count, len(dimensions), np.random.default_rng(seed))
    return np.asarray((2 * unit - 1) * [d.size for d in dimensions])


class SmallErrors:
    """The light of a plan under errors, one at a time and together, and its score.

    Parameters
    ----------
    rig : Rig
        The planned rig.
    dimensions : tuple of ErrorDimension
    lights : callable
        Traces the light of rigs.
    scores : callable
        Scores light.
    planned : (k, 3) float32 or None
        The plan's own light, where it is known finer than `lights` tells: only the changes
        are then taken from `lights`. A change that is a few percent off moves no score; a
        level that is, does.
    quick : bool
        Trace the nearest errors alone; larger ones follow a parabola.
    """

    def __init__(
        self,
        rig: Rig,
        dimensions: tuple[ErrorDimension, ...],
        lights: Lights,
        scores: Scores,
        planned: Singles | None = None,
        *,
        quick: bool = False,
    ) -> None:
        self._rig, self._dimensions = rig, dimensions
        self._lights, self._scored = lights, scores
        jobs = [(i, s) for i, d in enumerate(dimensions) for s in _tried(d, quick=quick)]
        found = list(lights([rig, *(self._built(i, s) for i, s in jobs)]))
        self._finer = np.float32(0.0) if planned is None else planned - found[0]
        self._plan = found[0] + self._finer
        self._changes = {
            job: (light - found[0]).ravel() for job, light in zip(jobs, found[1:], strict=True)
        }

    def planned_score(self) -> float:
        """Return the score without errors, by the same light."""
        return self._score([self._plan])[0]

    def traced_scores(self, lights: Sequence[Singles]) -> Doubles:
        """Return the scores of builds whose lights were traced."""
        return np.array(self._score([light + self._finer for light in lights]))

    def scores(self, amounts: Doubles) -> Doubles:
        """Return the scores of builds with errors (b, d)."""
        share = amounts / [d.size for d in self._dimensions]
        known = np.stack(list(self._changes.values()))
        weights = np.zeros((len(share), len(known)), np.float32)
        place = {job: number for number, job in enumerate(self._changes)}
        for i in range(len(self._dimensions)):
            for job, weight in self._weights(i, share[:, i]):
                weights[:, place[job]] += weight
        found: list[float] = []
        for part in np.array_split(weights, max(1, len(weights) // _AT_ONCE)):
            change = part @ known
            found += self._score(list(self._plan + change.reshape(-1, *self._plan.shape)))
        return np.array(found)

    def follow(self, limit: float) -> Doubles:
        """Return scores (d, 2, 1 + steps): minus and plus side, from no error outwards.

        The largest error is traced only where the picture outlives those before it; beyond
        a failure the last score stands.
        """
        near = self._curves(STEPS[:-1])
        outlives = [
            (i, side) for i in range(len(near)) for side in (0, 1) if near[i, side].min() >= limit
        ]
        jobs = [(i, (2 * side - 1) * STEPS[-1]) for i, side in outlives]
        lights = self._lights([self._built(i, s) for i, s in jobs]) if jobs else []
        far = np.concatenate([near, near[:, :, -1:]], axis=2)
        scores: Sequence[float] = self.traced_scores(lights).tolist() if jobs else []
        for (i, side), score in zip(outlives, scores, strict=True):
            far[i, side, -1] = score
        return far

    def near(self) -> Doubles:
        """Return scores (d, 2, 1 + steps) without tracing anything more."""
        return self._curves(STEPS)

    def _curves(self, steps: Sequence[float]) -> Doubles:
        count = len(self._dimensions)
        found = np.full((count, 2, 1 + len(steps)), self.planned_score())
        places = [(i, j, k) for i in range(count) for j in (0, 1) for k in range(len(steps))]
        rows = np.zeros((len(places), count))
        for row, (i, j, k) in zip(rows, places, strict=True):
            row[i] = (2 * j - 1) * steps[k] * self._dimensions[i].size
        for (i, j, k), score in zip(places, self.scores(rows), strict=True):
            found[i, j, k + 1] = score
        return found

    def _weights(self, index: int, share: Doubles) -> list[tuple[tuple[int, float], Doubles]]:
        """Return by how much each traced change of one dimension counts, for shares (b,).

        Within one setting error a parabola through both sides; from there straight to the
        next error traced on that side, if any, else the parabola goes on.
        """
        far = [s for i, s in self._changes if i == index and abs(s) > 1]
        inner = np.ones(len(share), bool)
        found = []
        for edge in far:
            beyond = (share * np.sign(edge)) > 1
            inner &= ~beyond
            step = np.clip((np.abs(share) - 1) / (abs(edge) - 1), 0.0, None)
            found.append(((index, float(np.sign(edge))), np.where(beyond, 1 - step, 0.0)))
            found.append(((index, edge), np.where(beyond, step, 0.0)))
        found.append(((index, 1.0), np.where(inner, (share**2 + share) / 2, 0.0)))
        found.append(((index, -1.0), np.where(inner, (share**2 - share) / 2, 0.0)))
        return found

    def _built(self, index: int, share: float) -> Rig:
        """Return the rig with one error; one that the parts refuse is built without."""
        row = np.zeros(len(self._dimensions))
        row[index] = share * self._dimensions[index].size
        return built_or_right(self._rig, self._dimensions, row)

    def _score(self, sheets: Sequence[Singles]) -> list[float]:
        return list(self._scored([np.maximum(sheet, 0) for sheet in sheets]))


def _tried(dimension: ErrorDimension, *, quick: bool) -> tuple[float, ...]:
    """Return the errors to trace, in units of the setting error.

    Lens and bow change every ray, which is dear; their larger errors follow the parabola.
    """
    if quick or dimension.element in ("camera", "sheet"):
        return (-1.0, 1.0)
    return (-STEPS[1], -1.0, 1.0, STEPS[1])


def built_or_right(rig: Rig, dimensions: tuple[ErrorDimension, ...], row: Doubles) -> Rig:
    """Return the rig with its errors; one that the parts refuse is built without."""
    try:
        return built(rig, dimensions, row)
    except RigError:
        return rig


def judge_builds(
    rig: Rig,
    lights: Lights,
    scores: Scores,
    *,
    errors: SettingErrors,
    builds: int,
    seed: int,
    planned: Singles | None = None,
    quick: bool = False,
    should_stop: Callable[[], bool] = lambda: False,
) -> Robustness:
    """Return how a planned rig survives setting errors.

    Parameters
    ----------
    lights, scores : callable
        Trace the light of rigs, and score light.
    errors : SettingErrors
    builds : int
        Builds with all errors at once, for the yield.
    seed : int
    planned : (k, 3) float32 or None
        As for `SmallErrors`.
    quick : bool
        Trace no more than each dimension's nearest errors.
    should_stop : callable
        Asked before each dear part; from then on it is as quick.
    """

    def hurried() -> bool:
        return quick or should_stop()

    dimensions = error_dimensions(rig, errors)
    small = SmallErrors(rig, dimensions, lights, scores, planned, quick=hurried())
    score = small.planned_score()
    limit = good_score(score)
    rows = draws(dimensions, builds, seed=seed)
    if hurried():
        found = small.scores(rows)
    else:
        found = _scores(rig, dimensions, rows, small, lights, limit, should_stop)
    curves = small.near() if hurried() else small.follow(limit)
    losses = score - curves[:, :, 1].min(axis=1)
    tolerances = [
        _tolerance(d, curve, limit, float(loss))
        for d, curve, loss in zip(dimensions, curves, losses, strict=True)
    ]
    order = np.argsort(-losses, kind="stable")
    return Robustness(
        yield_share=float(np.mean(found >= limit)),
        yields={
            name: float(np.mean((found if hand == 1 else small.scores(hand * rows)) >= limit))
            for name, hand in HANDS.items()
        },
        good_score=limit,
        mean_score=float(found.mean()),
        worst_score=float(np.quantile(found, 0.05)),
        builds=builds,
        tolerances=tuple(tolerances[i] for i in order),
        critical=tuple(
            (dimensions[i].element, dimensions[i].dimension) for i in order if losses[i] > 0.05
        ),
    )


def _scores(
    rig: Rig,
    dimensions: tuple[ErrorDimension, ...],
    rows: Doubles,
    small: SmallErrors,
    lights: Lights,
    limit: float,
    should_stop: Callable[[], bool],
) -> Doubles:
    """Return the score of every build: by the sum of small errors where that proves right."""

    def traced(which: Integers) -> Doubles:
        builds = [built_or_right(rig, dimensions, row) for row in rows[which]]
        return small.traced_scores(lights(builds))

    found = small.scores(rows)
    checked, others = _checked(found)
    exact = traced(checked)
    proves_right = np.array_equal(exact >= limit, found[checked] >= limit)
    by_chance = slice(WORST_CHECKED, None)
    off = float(np.mean((exact - found[checked])[by_chance])) if len(others) else 0.0
    found[checked] = exact
    if not proves_right:
        # as those are off that were drawn like all others
        found[others] = np.clip(found[others] + off, 0.0, 100.0)
        _trace_nearest(found, others, limit, traced, should_stop)
    return found


def _trace_nearest(
    found: Doubles,
    others: Integers,
    limit: float,
    traced: Callable[[Integers], Doubles],
    should_stop: Callable[[], bool],
) -> None:
    """Trace builds in place, those nearest to the limit and some others, until all is foretold."""
    while len(others) and not should_stop():
        order = np.argsort(np.abs(found[others] - limit), kind="stable")
        near, far = others[order[:NEAREST_CHECKED]], np.sort(others[order[NEAREST_CHECKED:]])
        now, others = np.concatenate([near, far[:OTHERS_CHECKED]]), far[OTHERS_CHECKED:]
        exact = traced(now)
        wrong = np.count_nonzero((exact >= limit) != (found[now] >= limit))
        found[now] = exact
        if wrong <= WRONG_OF_THEM:
            return


def _checked(scores: Doubles) -> tuple[Integers, Integers]:
    """Return which builds to trace, and the others: the worst by the sum, and the first."""
    order = np.argsort(scores, kind="stable")
    worst = order[:WORST_CHECKED]
    rest = np.setdiff1d(np.arange(len(scores)), worst)[:FIRST_CHECKED]
    checked = np.concatenate([worst, rest])
    return checked, np.setdiff1d(np.arange(len(scores)), checked)


def _tolerance(dimension: ErrorDimension, curve: Doubles, limit: float, loss: float) -> Tolerance:
    minus, plus = (_reach(side, limit) * dimension.size for side in curve)
    return Tolerance(
        element=dimension.element,
        dimension=dimension.dimension,
        minus=minus,
        plus=plus,
        loss=max(0.0, loss),
    )


def _reach(values: Doubles, limit: float) -> float:
    """Return where a falling curve over (0, *STEPS) crosses the limit, linear between."""
    places = (0.0, *STEPS)
    for i in range(1, len(places)):
        if values[i] < limit:
            share = (values[i - 1] - limit) / (values[i - 1] - values[i])
            return float(places[i - 1] + share * (places[i] - places[i - 1]))
    return places[-1]
