"""How a plan survives the hands that build it: yield, tolerances, what matters most.

Every error is tried alone, small and large. Small errors change the light on each place
of the sheet nearly by a parabola in the error, and light adds up; so the light of a build
with all errors at once is nearly the sum of the single changes, and hundreds of builds are
judged without tracing a ray. Where errors only hurt together (a card just wide enough), the
sum promises too much; so some builds are traced in full, and all of them where these differ.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from lightplan.arrays import Doubles, Integers, Singles
from lightplan.errors import RigError
from lightplan.measures.score import KEEP_FROM
from lightplan.planning.result import Robustness, Tolerance
from lightplan.scene import Rig
from lightplan.scene.setting_errors import (
    ErrorDimension,
    SettingErrors,
    built,
    error_dimensions,
)
from lightplan.search.spread import evenly

STEPS = (1.0, 3.0)
"""Errors that are tried one at a time, in units of the largest setting error."""
ALLOWED_LOSS = 5.0
WORST_CHECKED, FIRST_CHECKED = 16, 16
"""Builds that are traced in full: those that the sum calls worst, where joint errors show
first, and some drawn like all others. A sum that is wrong about 1 in 6 of these passes once in
20 times (0.83 to the 16th power), one that is wrong about the worst hardly ever."""
_AT_ONCE = 32

Lights = Callable[[Sequence[Rig]], Sequence[Singles]]
"""What the measures read of several rigs' sheets, (k, 3) each."""


Scores = Callable[[Sequence[Singles]], Sequence[float]]
"""Scores (0 to 100) of the plan's sheet under several lights."""


def good_score(planned: float) -> float:
    """Return the score that a build must reach to count as right.

    A picture to keep; where the plan itself is not much better than that, no more
    than 5 points below the plan.

    >>> good_score(95.0), good_score(70.0)
    (75.0, 65.0)
    """
    return min(KEEP_FROM, planned - ALLOWED_LOSS)


def draws(dimensions: Sequence[ErrorDimension], count: int, *, seed: int) -> Doubles:
    """Return evenly spread errors, (count, d), each within its size."""
    unit = evenly(count, len(dimensions), np.random.default_rng(seed))
    return np.asarray((2 * unit - 1) * [d.size for d in dimensions])


class SmallErrors:
    """The light of a plan under small errors, and its score.

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
    """

    def __init__(
        self,
        rig: Rig,
        dimensions: tuple[ErrorDimension, ...],
        lights: Lights,
        scores: Scores,
        planned: Singles | None = None,
    ) -> None:
        self._dimensions, self._scored = dimensions, scores
        jobs = [(0, 0.0)] + [(i, s) for i, d in enumerate(dimensions) for s in _tried(d)]
        found = list(lights([_built(rig, dimensions, i, s) for i, s in jobs]))
        self._finer = np.float32(0.0) if planned is None else planned - found[0]
        self._plan = found[0] + self._finer
        self._single = {job: light + self._finer for job, light in zip(jobs, found, strict=True)}
        count = len(dimensions)
        low, high = (
            np.array([self._single[i, side] for i in range(count)]).reshape(count, self._plan.size)
            for side in (-1.0, 1.0)
        )
        self._slope, self._bend = (high - low) / 2, (high + low) / 2 - self._plan.ravel()

    def planned_score(self) -> float:
        """Return the score without errors, by the same light."""
        return self._score([self._plan])[0]

    def traced_scores(self, lights: Sequence[Singles]) -> Doubles:
        """Return the scores of builds whose lights were traced."""
        return np.array(self._score([light + self._finer for light in lights]))

    def scores(self, amounts: Doubles) -> Doubles:
        """Return the scores of builds whose errors (b, d) are within their sizes."""
        share = (amounts / [d.size for d in self._dimensions]).astype(np.float32)
        found: list[float] = []
        for part in np.array_split(share, max(1, len(share) // _AT_ONCE)):
            change = part @ self._slope + part**2 @ self._bend
            found += self._score(list(self._plan + change.reshape(-1, *self._plan.shape)))
        return np.array(found)

    def single_scores(self) -> Doubles:
        """Return scores (d, 2, 3): minus and plus side, from no error to the largest tried.

        Large errors that were not traced follow the parabola.
        """
        count = len(self._dimensions)
        found = np.empty((count, 2, 1 + len(STEPS)))
        found[:, :, 0] = self.planned_score()
        places = [(i, j, k) for i in range(count) for j in (0, 1) for k in range(len(STEPS))]
        lights = [self._alone(i, (2 * j - 1) * STEPS[k]) for i, j, k in places]
        for (i, j, k), score in zip(places, self._score(lights), strict=True):
            found[i, j, k + 1] = score
        return found

    def _alone(self, index: int, share: float) -> Singles:
        """Return the light of one error alone."""
        if (index, share) in self._single:
            return self._single[index, share]
        change = share * self._slope[index] + share**2 * self._bend[index]
        return np.asarray(self._plan + change.reshape(self._plan.shape), np.float32)

    def _score(self, sheets: Sequence[Singles]) -> list[float]:
        return list(self._scored([np.maximum(sheet, 0) for sheet in sheets]))


def _tried(dimension: ErrorDimension) -> tuple[float, ...]:
    """Return the errors to trace, in units of the setting error.

    Lens and bow change every ray, which is dear; their large errors follow the parabola.
    """
    if dimension.element in ("camera", "sheet"):
        return (-1.0, 1.0)
    return (-STEPS[1], -STEPS[0], STEPS[0], STEPS[1])


def _built(rig: Rig, dimensions: tuple[ErrorDimension, ...], index: int, share: float) -> Rig:
    """Return the rig with one error; one that the parts refuse is built without."""
    row = np.zeros(len(dimensions))
    row[index] = share * dimensions[index].size
    return _whole(rig, dimensions, row)


def _whole(rig: Rig, dimensions: tuple[ErrorDimension, ...], row: Doubles) -> Rig:
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
    """
    dimensions = error_dimensions(rig, errors)
    small = SmallErrors(rig, dimensions, lights, scores, planned)
    score = small.planned_score()
    limit = good_score(score)
    rows = draws(dimensions, builds, seed=seed)
    found = _scores(rig, dimensions, rows, small, lights, limit)
    curves = small.single_scores()
    tolerances = [_tolerance(d, c, limit) for d, c in zip(dimensions, curves, strict=True)]
    return Robustness(
        yield_share=float(np.mean(found >= limit)),
        good_score=limit,
        mean_score=float(found.mean()),
        worst_score=float(np.quantile(found, 0.05)),
        builds=builds,
        tolerances=tuple(tolerances),
        critical=_critical(dimensions, curves, score),
    )


def _scores(
    rig: Rig,
    dimensions: tuple[ErrorDimension, ...],
    rows: Doubles,
    small: SmallErrors,
    lights: Lights,
    limit: float,
) -> Doubles:
    """Return the score of every build: by the sum of small errors where that proves right."""

    def traced(which: Integers) -> Doubles:
        return small.traced_scores(lights([_whole(rig, dimensions, row) for row in rows[which]]))

    found = small.scores(rows)
    checked, others = _checked(found)
    exact = traced(checked)
    proves_right = np.array_equal(exact >= limit, found[checked] >= limit)
    found[checked] = exact
    if not proves_right:
        found[others] = traced(others)
    return found


def _checked(scores: Doubles) -> tuple[Integers, Integers]:
    """Return which builds to trace, and the others: the worst by the sum, and the first."""
    order = np.argsort(scores, kind="stable")
    worst = order[:WORST_CHECKED]
    rest = np.setdiff1d(np.arange(len(scores)), worst)[:FIRST_CHECKED]
    checked = np.concatenate([worst, rest])
    return checked, np.setdiff1d(np.arange(len(scores)), checked)


def _tolerance(dimension: ErrorDimension, curve: Doubles, limit: float) -> Tolerance:
    minus, plus = (_reach(side, limit) * dimension.size for side in curve)
    return Tolerance(
        element=dimension.element, dimension=dimension.dimension, minus=minus, plus=plus
    )


def _reach(values: Doubles, limit: float) -> float:
    """Return where a falling curve over (0, *STEPS) crosses the limit, linear between."""
    places = (0.0, *STEPS)
    for i in range(1, len(places)):
        if values[i] < limit:
            share = (values[i - 1] - limit) / (values[i - 1] - values[i])
            return float(places[i - 1] + share * (places[i] - places[i - 1]))
    return places[-1]


def _critical(
    dimensions: Sequence[ErrorDimension], curves: Doubles, planned: float
) -> tuple[tuple[str, str], ...]:
    """Return dimensions by the score that one whole setting error costs, most first."""
    loss = planned - curves[:, :, 1].min(axis=1)
    order = np.argsort(-loss, kind="stable")
    return tuple((dimensions[i].element, dimensions[i].dimension) for i in order if loss[i] > 0.05)
