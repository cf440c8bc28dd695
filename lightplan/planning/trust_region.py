"""One step of the search for what is smooth but dear, judged by what is cheap but bent.

The light of each lamp is dear to trace and changes smoothly with a place; the judgement of a
light is cheap, but has corners (clipping, quantiles, limits). So the light alone is modelled:
along each dimension by a parabola through three traced lights. The judgement of the modelled
light is minimised within a radius, the best point is traced, and the radius follows how well
the model foretold it (A. R. Conn, N. I. M. Gould, P. L. Toint, "Trust-region methods",
2000, algorithm 6.1.1; the model is that of their section 1.3.3 for composite functions). The
traced lights are judged too, so that a step never depends on the model alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from scipy.optimize import minimize

from lightplan.arrays import Doubles, Singles

LARGEST, SMALLEST = 0.5, 0.004
"""Radii, as shares of a dimension's range."""
_GROWS, _SHRINKS = 1.6, 0.4
_TRUSTED, _DOUBTED = 0.6, 0.2
"""Shares of the foretold gain from which the radius grows, and below which it shrinks."""
_INNER_ROUNDS = 6
_INNER_STEP = 0.02
"""Of the difference quotients, as a share of the radius: wide, to look past small corners."""
_PER_UNIT_OF_EXCESS = 0.05
FORGIVEN = 0.3
_HALVINGS = 6
_BENDS_KEPT = 2.5
"""A bend is measured anew where the radius has shrunk by more than this factor since."""


class Problem(Protocol):
    """A composite function of the unit box."""

    def smooth(self, point: Doubles) -> Singles | None:
        """Return the smooth and dear part at a point; None where it does not exist.

        It must not depend on coordinates after the first `dimensions` given to `step`.
        """
        ...

    def value_under(self, values: Singles, point: Doubles) -> float:
        """Return the value of a point, its smooth part given; smaller is better."""
        ...

    def excess(self, point: Doubles) -> float:
        """Return by how much limits are broken; up to `FORGIVEN` is forgiven."""
        ...


@dataclass(frozen=True, eq=False)
class Stand:
    """Where a search stands.

    Parameters
    ----------
    point : (n,) float
        In the unit box; it keeps all limits.
    value : float
    values : float32 array
        Its smooth part.
    radius : float
    gain : float
        Fall of the value in the last step.
    used : int
        Smooth parts traced by the last step.
    bends : (dimensions, ...) float32 or None
        Of the parabolas of the smooth part, when they were last measured.
    bent_at : float
        Radius at which the bends were measured.
    """

    point: Doubles
    value: float
    values: Singles
    radius: float
    gain: float = np.inf
    used: int = 0
    bends: Singles | None = None
    bent_at: float = 0.0

    @property
    def is_settled(self) -> bool:
        """Whether smaller steps do not matter."""
        return self.radius < SMALLEST


def step(problem: Problem, stand: Stand, dimensions: int) -> Stand:
    """Return where one step leads; never worse than where it began.

    Parameters
    ----------
    dimensions : int
        Leading coordinates on which the smooth part depends.
    """
    known = stand.bends if stand.bent_at <= _BENDS_KEPT * stand.radius else None
    probes = [_probes(stand, i, one=known is not None) for i in range(dimensions)]
    flat = [p for row in probes for p in row]
    traced = [problem.smooth(p) for p in flat]
    excess = [problem.excess(p) for p in flat]
    model = _Model(stand, probes, iter(traced), known)
    polled = _polled(problem, stand, flat, traced, excess)
    guess = _lowest(problem, model, stand, limits_near=max(excess, default=0.0) > 0)
    foretold = stand.value - problem.value_under(model.at(guess), guess)
    values = problem.smooth(guess)
    found = stand
    if values is not None:
        value = problem.value_under(values, guess)
        if value < stand.value:
            found = replace(stand, point=guess, value=value, values=values)
    radius = _radius(stand, found, foretold)
    if polled.value < found.value:
        found, radius = polled, stand.radius
    return replace(
        found, radius=radius, gain=stand.value - found.value, used=len(flat) + 1,
        bends=model.bends,
        bent_at=stand.bent_at if known is not None else stand.radius,
    )  # fmt: skip


def _radius(stand: Stand, found: Stand, foretold: float) -> float:
    gain = stand.value - found.value
    if gain <= 0 or foretold <= 0:
        return _SHRINKS * stand.radius
    if gain > _TRUSTED * foretold:
        return min(_GROWS * stand.radius, LARGEST)
    return stand.radius if gain > _DOUBTED * foretold else _SHRINKS * stand.radius


def _probes(stand: Stand, index: int, *, one: bool) -> list[Doubles]:
    """Return points along one dimension: on either side, both inwards from a bound, or one.

    One is enough where the bend is known; it lies on the side of the larger room.
    """
    here, radius = float(stand.point[index]), stand.radius
    low, high = max(here - radius, 0.0) - here, min(here + radius, 1.0) - here
    if one:
        offsets = [high if high >= -low else low]
    elif high < 0.3 * radius:
        offsets = [low, low / 2]
    elif -low < 0.3 * radius:
        offsets = [high / 2, high]
    else:
        offsets = [low, high]
    found = []
    for offset in offsets:
        point = stand.point.copy()
        point[index] = here + offset
        found.append(point)
    return found


class _Model:
    """The smooth part round a stand: the sum of parabolas along each dimension."""

    def __init__(
        self, stand: Stand, probes: Sequence[Sequence[Doubles]], traced: Iterator[Singles | None],
        known: Singles | None,
    ) -> None:  # fmt: skip
        self._stand, base = stand, stand.values
        self._count = len(probes)
        self.free = np.ones(stand.point.size, bool)
        self.slopes = np.zeros((self._count, base.size), np.float32)
        self.bends = np.zeros((self._count, base.size), np.float32)
        for i, points in enumerate(probes):
            rows = [(float(p[i] - stand.point[i]), next(traced)) for p in points]
            found = [(off, (v - base).ravel()) for off, v in rows if v is not None]
            if not found:
                self.free[i] = False
            elif known is not None:
                self.bends[i] = known[i]
                self.slopes[i] = found[0][1] / found[0][0] - known[i] * found[0][0]
            else:
                self.slopes[i], self.bends[i] = _parabola(found)

    def at(self, point: Doubles) -> Singles:
        """Return the modelled smooth part."""
        away = (point - self._stand.point)[: self._count].astype(np.float32)
        change = away @ self.slopes + away**2 @ self.bends
        return self._stand.values + change.reshape(self._stand.values.shape)

    def box(self) -> list[tuple[float, float]]:
        """Return the bounds within the radius; the other coordinates keep the whole box."""
        found = []
        for i, x in enumerate(self._stand.point):
            reach = self._stand.radius if i < self._count else 1.0
            reach = reach if self.free[i] else 0.0
            found.append((max(0.0, x - reach), min(1.0, x + reach)))
        return found


def _parabola(rows: Sequence[tuple[float, Singles]]) -> tuple[Singles, Singles]:
    """Return slope and bend of the parabola through 0 and one or two (offset, change)."""
    over = [change / np.float32(offset) for offset, change in rows]
    if len(rows) == 1:
        return over[0], np.zeros_like(over[0])
    bend = (over[1] - over[0]) / np.float32(rows[1][0] - rows[0][0])
    return np.asarray(over[0] - bend * np.float32(rows[0][0])), np.asarray(bend)


def _polled(
    problem: Problem, stand: Stand, probes: Sequence[Doubles], traced: Sequence[Singles | None],
    excess: Sequence[float],
) -> Stand:  # fmt: skip
    """Return the best of the stand and the traced points round it."""
    best = stand
    for point, values, over in zip(probes, traced, excess, strict=True):
        if values is not None and over <= FORGIVEN:
            value = problem.value_under(values, point)
            if value < best.value:
                best = replace(stand, point=point, value=value, values=values)
    return best


def _lowest(problem: Problem, model: _Model, stand: Stand, *, limits_near: bool) -> Doubles:
    """Return the point within the radius at which the judged model is lowest."""

    def value(point: Doubles) -> float:
        found = problem.value_under(model.at(point), point)
        if limits_near:
            over = min(problem.excess(point), 1e4)
            found += _PER_UNIT_OF_EXCESS * max(0.0, over - FORGIVEN / 2)
        return found

    box = model.box()
    found = minimize(
        value, stand.point, method="SLSQP", jac=lambda p: _slope(value, p, box), bounds=box,
        options={"maxiter": _INNER_ROUNDS, "ftol": 1e-4},
    )  # fmt: skip
    return _within_limits(problem, stand.point, np.clip(found.x, 0.0, 1.0))


def _slope(
    value: Callable[[Doubles], float], point: Doubles, box: Sequence[tuple[float, float]]
) -> Doubles:
    """Return difference quotients, taken inwards at the bounds."""
    here = value(point)
    slope = np.zeros(point.size)
    for i, (low, high) in enumerate(box):
        size = _INNER_STEP * (high - low)
        if size > 0:
            other = point.copy()
            other[i] += size if point[i] + size <= high else -size
            slope[i] = (value(other) - here) / (other[i] - point[i])
    return slope


def _within_limits(problem: Problem, inside: Doubles, wanted: Doubles) -> Doubles:
    """Return the farthest point towards the wanted one that keeps all limits, by halving."""
    if problem.excess(wanted) <= FORGIVEN:
        return wanted
    near, far = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        if problem.excess(inside + middle * (wanted - inside)) <= FORGIVEN:
            near = middle
        else:
            far = middle
    return inside + near * (wanted - inside)
