"""The solver: closed-form starts, evolution of the covariance, and a simplex to finish.

Both come from libraries: cma (N. Hansen, arXiv:1604.00772) and scipy's Nelder and Mead with steps
that suit many dimensions (F. Gao and L. Han, Computational Optimization and Applications 51, 2012).

Problem, solver and stop rule are apart: the objective knows nothing of the solver, the
solver nothing of light. Points live in the unit box. The same seed and the same number
of evaluations give the same answer; a time limit may cut that short.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.search.spread import evenly

StopReason: TypeAlias = Literal[
    "converged",
    "evaluations used up",
    "time used up",
    "stopped on request",
    "nothing to move",
    "left behind",
]
Objective: TypeAlias = Callable[[Sequence[Doubles]], Sequence[float]]
"""Values of several points at once (smaller is better), so that a pool may share them."""


@dataclass(frozen=True, kw_only=True)
class StopRule:
    """When to stop.

    Parameters
    ----------
    evaluations : int
        Most evaluations of the objective.
    seconds : float or None
        Longest time; None for no limit.
    tolerance : float
        Change of the value that no longer matters.
    should_stop : callable
        Asked before every evaluation; True stops with the best so far.
    """

    evaluations: int = 1500
    seconds: float | None = None
    tolerance: float = 1e-3
    should_stop: Callable[[], bool] = lambda: False


@dataclass(frozen=True, kw_only=True, eq=False)
class Found:
    """The best point, and why the search ended.

    Parameters
    ----------
    point : (n,) float
        In the unit box.
    value : float
    evaluations : int
    stopped_because : str
    history : tuple of (int, float)
        Each improvement: evaluations so far and the new best value.
    """

    point: Doubles
    value: float
    evaluations: int
    stopped_because: StopReason
    history: tuple[tuple[int, float], ...]


class Halt(Exception):
    """Raised by `Counter` to end a solver; carries the reason."""

    def __init__(self, reason: StopReason) -> None:
        self.reason: StopReason = reason
        super().__init__(reason)


class Counter:
    """Counts evaluations, keeps the best point, and halts the solver."""

    def __init__(
        self,
        objective: Objective,
        rule: StopRule,
        on_best: Callable[[Doubles, float, int], None] | None,
    ) -> None:
        self._objective, self._rule, self._on_best = objective, rule, on_best
        self._began = time.monotonic()
        self.used = 0
        self.value = np.inf
        self.point = np.zeros(0)
        self.history: list[tuple[int, float]] = []

    def __call__(self, points: Sequence[Doubles]) -> Doubles:
        """Return values of points, clipped into the box; raise `Halt` when it is time."""
        if self._rule.should_stop():
            raise Halt("stopped on request")
        if self._rule.seconds is not None and time.monotonic() - self._began > self._rule.seconds:
            raise Halt("time used up")
        left = self._rule.evaluations - self.used
        if left < len(points):
            if left > 0:
                self._note(points[:left])
            raise Halt("evaluations used up")
        return self._note(points)

    def one(self, point: Doubles) -> float:
        """Return the value of one point."""
        return float(self([point])[0])

    def _note(self, points: Sequence[Doubles]) -> Doubles:
        boxed = [np.asarray(np.clip(p, 0.0, 1.0)) for p in points]
        values = np.array(self._objective(boxed), float)
        self.used += len(points)
        best = int(np.argmin(values))
        if values[best] < self.value:
            self.value, self.point = float(values[best]), boxed[best]
            self.history.append((self.used, self.value))
            if self._on_best is not None:
                self._on_best(self.point, self.value, self.used)
        return values


def minimise(
    objective: Objective,
    starts: Sequence[Doubles],
    *,
    seed: int,
    rule: StopRule,
    spread: float = 0.15,
    on_best: Callable[[Doubles, float, int], None] | None = None,
) -> Found:
    """Return the best point of the unit box that can be found within the stop rule.

    The starts are compared first, with a few points that fill the box evenly. From the
    best the covariance evolves, and a simplex finishes. While
    evaluations are left, the evolution runs again with twice the offspring, from the
    other starts in turn and then from points drawn at random, until three runs in a row
    bring nothing.

    Parameters
    ----------
    starts : sequence of (n,) float
        At least one; closed-form guesses.
    seed : int
    rule : StopRule
    spread : float
        First step of the search, as a share of each variable's range.
    on_best : callable or None
        Told of each better point: point, value, evaluations.
    """
    counter = Counter(objective, rule, on_best)
    reason: StopReason = "converged"
    try:
        values = counter(starts)
        if starts[0].size == 0:
            raise Halt("nothing to move")
        rng = np.random.default_rng(seed)
        # some that fill the box, in case all starts are far off
        tries = list(evenly(8 if starts[0].size < 4 else 16, starts[0].size, rng))
        values = np.concatenate([values, counter(tries)])
        ranked = [[*starts, *tries][i] for i in np.argsort(values, kind="stable")]
        _search(counter, ranked[: len(starts) + 2], rng, rule, spread)
    except Halt as halt:
        reason = halt.reason
    return Found(
        point=read_only(counter.point if counter.used else starts[0]),
        value=counter.value,
        evaluations=counter.used,
        stopped_because=reason,
        history=tuple(counter.history),
    )


def _search(
    counter: Counter, starts: list[Doubles], rng: np.random.Generator, rule: StopRule, spread: float
) -> None:
    simplex(
        counter.one, starts[0], size=spread, tolerance=rule.tolerance, most=_first_tries(starts)
    )
    idle, run = 0, 0
    while idle < 3:
        before = counter.value
        start, width = _next_start(counter, starts, run, rng, spread)
        _evolve(counter, start, width, run, rng, rule)
        simplex(counter.one, counter.point, size=spread / 5, tolerance=rule.tolerance)
        idle = 0 if counter.value < before - rule.tolerance else idle + 1
        run += 1


def _first_tries(starts: list[Doubles]) -> int:
    """Return the length of a short descent: a plan stopped early is then a fair one."""
    return 4 * (starts[0].size + 1)


def _next_start(
    counter: Counter, starts: list[Doubles], run: int, rng: np.random.Generator, spread: float
) -> tuple[Doubles, float]:
    if run == 0:
        return counter.point, spread
    if run < len(starts):
        return starts[run], 1.5 * spread
    return rng.uniform(0.1, 0.9, starts[0].size), 2.0 * spread


def _evolve(
    counter: Counter,
    start: Doubles,
    spread: float,
    run: int,
    rng: np.random.Generator,
    rule: StopRule,
) -> None:
    """Let the covariance evolve from a point until its steps are small or bring nothing."""
    import cma  # it brings matplotlib along, and few plans need it

    # It wants two variables at least: an idle one stands beside a single one.
    size = start.size
    full = start if size > 1 else np.append(start, 0.5)
    options: dict[str, Any] = {
        "bounds": [0.0, 1.0],
        "popsize": int((4 + 3 * np.log(size)) * 2 ** min(run, 4)),
        "tolfun": rule.tolerance,
        "tolfunhist": rule.tolerance,
        "tolx": 1e-5,
        "seed": np.nan,  # it draws from ours, not from a generator that all share
        "randn": lambda *shape: rng.standard_normal(shape),
        "verbose": -9,
        "CMA_diagonal": False,
    }
    evolution = cma.CMAEvolutionStrategy(full, spread, options)
    while not evolution.stop():
        points = [np.asarray(point) for point in evolution.ask()]
        evolution.tell(points, list(counter([point[:size] for point in points])))


def simplex(
    function: Callable[[Doubles], float],
    start: Doubles,
    *,
    size: float,
    tolerance: float,
    most: int | None = None,
) -> None:
    """Go down from `start` by Nelder and Mead's simplex; `function` remembers the best point.

    Parameters
    ----------
    function : callable
        Of a point (n,) in the unit box; it may raise to end the search.
    size : float
        Edge of the first simplex.
    tolerance : float
        Ends when the corners' values differ by less and the corners are close.
    most : int or None
        Most evaluations; None: 200 for each dimension.
    """
    from scipy.optimize import minimize

    first = np.clip(start, 0.0, 1.0)
    steps = size * np.diag(np.where(first + size <= 1, 1.0, -1.0))
    minimize(
        function,
        first,
        method="Nelder-Mead",
        bounds=[(0.0, 1.0)] * start.size,
        options={
            "initial_simplex": first + np.vstack([np.zeros(start.size), steps]),
            "fatol": tolerance,
            "xatol": 1e-4,
            "maxfev": 200 * start.size if most is None else most,
            "adaptive": True,
        },
    )
