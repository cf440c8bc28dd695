"""How a plan survives the hands that build it: yield, tolerances, what matters most."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.stats import qmc

from lightplan.arrays import Doubles
from lightplan.measures.score import KEEP_FROM
from lightplan.planning.errors_of_hand import (
    ErrorDimension,
    SettingErrors,
    built,
    error_dimensions,
)
from lightplan.planning.result import Robustness, Tolerance
from lightplan.scene import Rig

Scores = Callable[[Sequence[Rig]], Sequence[float]]
"""Scores (0 to 100) of several rigs as they stand."""

STEPS = (1.0, 3.0)
"""Errors that are tried one at a time, in units of the largest setting error."""
ALLOWED_LOSS = 5.0


def good_score(planned: float) -> float:
    """Return the score that a build must reach to count as right.

    A picture to keep; where the plan itself is not much better than that, no more
    than 5 points below the plan.

    >>> good_score(95.0), good_score(70.0)
    (75.0, 65.0)
    """
    return min(KEEP_FROM, planned - ALLOWED_LOSS)


def draws(dimensions: Sequence[ErrorDimension], count: int, *, seed: int) -> Doubles:
    """Return evenly spread errors, (count, d), each within its size (a Sobol sequence).

    A scrambled low-discrepancy set makes the share of good builds steadier than
    independent draws of the same number.
    """
    sampler = qmc.Sobol(len(dimensions), scramble=True, rng=np.random.default_rng(seed))
    power = max(1, int(np.ceil(np.log2(count))))
    unit = sampler.random_base2(power)[:count]
    return np.asarray((2 * unit - 1) * [d.size for d in dimensions])


def judge_builds(
    rig: Rig,
    planned: float,
    scores: Scores,
    *,
    errors: SettingErrors,
    builds: int,
    seed: int,
) -> Robustness:
    """Return how the plan survives setting errors.

    Parameters
    ----------
    rig : Rig
        The planned rig.
    planned : float
        Its score.
    scores : callable
    errors : SettingErrors
    builds : int
        Builds with all errors at once, for the yield.
    seed : int
    """
    dimensions = error_dimensions(rig, errors)
    limit = good_score(planned)
    found = np.array(
        scores([built(rig, dimensions, row) for row in draws(dimensions, builds, seed=seed)])
    )
    curves = _one_at_a_time(rig, dimensions, planned, scores)
    tolerances = tuple(
        _tolerance(d, curve, limit) for d, curve in zip(dimensions, curves, strict=True)
    )
    return Robustness(
        yield_share=float(np.mean(found >= limit)),
        good_score=limit,
        mean_score=float(found.mean()),
        worst_score=float(np.quantile(found, 0.05)),
        builds=builds,
        tolerances=tolerances,
        critical=_critical(dimensions, curves, planned),
    )


def _one_at_a_time(
    rig: Rig, dimensions: Sequence[ErrorDimension], planned: float, scores: Scores
) -> Doubles:
    """Return scores (d, 2, steps + 1): minus and plus side, from no error outwards."""
    amounts = [
        (i, side * step * d.size)
        for i, d in enumerate(dimensions)
        for side in (-1, 1)
        for step in STEPS
    ]
    rigs = []
    for i, amount in amounts:
        row = np.zeros(len(dimensions))
        row[i] = amount
        rigs.append(built(rig, tuple(dimensions), row))
    values = np.array(scores(rigs)).reshape(len(dimensions), 2, len(STEPS))
    return np.concatenate([np.full((*values.shape[:2], 1), planned), values], axis=2)


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
