"""One step of the search for what is smooth but dear, judged by what is cheap but bent.

The light of each lamp is dear to trace and changes smoothly with a place; the judgement of a
light is cheap, but has corners (clipping, quantiles, limits). So the light alone is modelled:
along each dimension by a parabola through three traced lights. The judgement of the modelled
light is minimised within a radius, the best point is traced, and the radius follows how well
the model foretold it (A. R. Conn, N. I. M. Gould, P. L. Toint, "Trust-region methods",
2000, algorithm 6.1.1; the model is that of their section 1.3.3 for composite functions). The
model learns from every point it foretold, so that the next trial costs one light; where it
foretells wrongly, its slopes are measured anew. The lights traced for that are judged too, so
that a step never depends on the model alone.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import islice
from typing import TYPE_CHECKING, Protocol

import numpy as np

from lightplan.search.descent import descended
from lightplan.search.smooth_model import Model, measured, probes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles

LARGEST, SMALLEST = 0.5, 0.004
"""Radii, as shares of a dimension's range."""
TRIALS = 3
"""Points that a step tries with one model, which learns from each."""
CHEAP_REACH = 0.15
"""How far coordinates that cost no tracing may go in one trial: beyond, the descent loses its
way among their corners."""
FORGIVEN = 0.3
_GROWS, _SHRINKS = 1.6, 0.4
_TRUSTED, _DOUBTED = 0.6, 0.2
"""Shares of the foretold gain from which the radius grows, and below which it shrinks."""
_TOO_LITTLE = 1e-4
"""Gain of a trial after which the step ends."""
_PER_UNIT_OF_EXCESS = 0.05
_HALVINGS = 6
_BENDS_KEPT = 2.5
"""A bend is measured anew where the radius has shrunk by more than this factor since."""


class Problem(Protocol):
    """A composite function of the unit box, asked about many points at once."""

    def smooth(self, points: Sequence[Doubles]) -> Sequence[Singles | None]:
        """Return the smooth and dear part at points; None where it does not exist.

        It must not depend on coordinates after the first `dimensions` given to `step`.
        """
        ...

    def values_under(self, parts: Sequence[Singles], points: Sequence[Doubles]) -> Sequence[float]:
        """Return the values of points, their smooth parts given; smaller is better."""
        ...

    def excess(self, points: Sequence[Doubles]) -> Sequence[float]:
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
    model : Model or None
        Round the point, once a step was taken.
    """

    point: Doubles
    value: float
    values: Singles
    radius: float
    gain: float = np.inf
    used: int = 0
    model: Model | None = None

    @property
    def is_settled(self) -> bool:
        """Whether smaller steps do not matter."""
        return self.radius < SMALLEST


def step(problem: Problem, stand: Stand, dimensions: int) -> Stand:
    """Return where a step leads: a few trials with one model; never worse than where it began.

    Parameters
    ----------
    dimensions : int
        Leading coordinates on which the smooth part depends.
    """
    (surveyed,) = survey(problem, [stand], dimensions)
    return trials(problem, surveyed)


@dataclass(frozen=True, eq=False)
class Surveyed:
    """A stand with a sound model, and the best of the points traced for it, if any were."""

    stand: Stand
    polled: Stand | None = None


def survey(problem: Problem, stands: Sequence[Stand], dimensions: int) -> list[Surveyed]:
    """Return stands with their models measured where they need it: the first half of a step.

    The lights for all of them are asked for at once, so that they can be shared evenly.
    """
    needy = {id(s): _probes(s, dimensions) for s in stands if s.model is None or s.model.is_worn}
    flat = [p for rows in needy.values() for points in rows for p in points]
    traced, excess = iter(problem.smooth(flat)), iter(problem.excess(flat))
    found = []
    for stand in stands:
        if (rows := needy.get(id(stand))) is None:
            found.append(Surveyed(replace(stand, used=0)))
            continue
        count = sum(map(len, rows))
        mine = list(islice(traced, count)), list(islice(excess, count))
        found.append(_measured(problem, stand, rows, *mine))
    return found


def trials(problem: Problem, surveyed: Surveyed) -> Stand:
    """Return where a few trials with a stand's model lead: the second half of a step."""
    here, polled = surveyed.stand, surveyed.polled
    for _ in range(TRIALS):
        before = here
        here = _tried(problem, here)
        if polled is not None and polled.value < here.value:
            here = _moved_to(polled, here)
        polled = None
        assert here.model is not None
        if here.model.is_worn or here.is_settled or before.value - here.value < _TOO_LITTLE:
            break
    return replace(here, gain=surveyed.stand.value - here.value)


def most_traced(stand: Stand, dimensions: int) -> int:
    """Return how many smooth parts a step may trace at most."""
    if stand.model is not None and not stand.model.is_worn:
        return TRIALS
    return TRIALS + (dimensions if _bends_hold(stand) else 2 * dimensions)


def _bends_hold(stand: Stand) -> bool:
    return stand.model is not None and stand.model.probed_at <= _BENDS_KEPT * stand.radius


def _probes(stand: Stand, dimensions: int) -> list[list[Doubles]]:
    """Return the points to trace for a stand's model, along each dimension."""
    one = _bends_hold(stand)
    return [probes(stand.point, stand.radius, i, one=one) for i in range(dimensions)]


def _measured(
    problem: Problem,
    stand: Stand,
    probed: Sequence[Sequence[Doubles]],
    traced: Sequence[Singles | None],
    excess: Sequence[float],
) -> Surveyed:
    """Return a stand with its model measured, and the best of the points traced for it."""
    old, known, radius = stand.model, None, stand.radius
    if old is not None and _bends_hold(stand):
        known, radius = old.bends, old.probed_at
    model = measured(
        stand.point, stand.values, probed, iter(traced), known_bends=known, radius=radius
    )
    model = replace(model, limits_near=max(excess, default=0.0) > 0)
    flat = [p for row in probed for p in row]
    polled = _polled(problem, stand, flat, traced, excess)
    return Surveyed(replace(stand, model=model, used=len(flat)), polled)


def _moved_to(polled: Stand, here: Stand) -> Stand:
    """Return a stand at a better point that was traced for its model; the radius stays."""
    assert here.model is not None
    model = here.model.taught(polled.point, polled.values, moves=True)
    return replace(
        here,
        point=polled.point,
        value=polled.value,
        values=polled.values,
        radius=polled.radius,
        model=replace(model, is_worn=False),
    )


def _tried(problem: Problem, stand: Stand) -> Stand:
    """Return a stand after one trial: at the lowest point of its model, if it is lower there."""
    model = stand.model
    assert model is not None
    guess, limits_near = _lowest(problem, model, stand)
    (values,) = problem.smooth([guess])
    modelled = model.at(guess)
    here = [modelled] if values is None else [modelled, values]
    found = problem.values_under(here, [guess] * len(here))
    foretold, value = stand.value - found[0], np.inf if values is None else found[1]
    gain = stand.value - value
    if values is not None:
        model = model.taught(guess, values, moves=gain > 0)
    radius = _radius(stand.radius, gain, foretold)
    fails = radius < stand.radius
    worn = fails and (model.trials > 1 or values is None)
    model = replace(model, is_worn=worn, limits_near=limits_near)
    after = replace(stand, radius=radius, used=stand.used + 1, model=model)
    if gain > 0 and values is not None:
        after = replace(after, point=guess, value=value, values=values)
    return after


def _radius(radius: float, gain: float, foretold: float) -> float:
    if gain <= 0 or foretold <= 0:
        return _SHRINKS * radius
    if gain > _TRUSTED * foretold:
        return min(_GROWS * radius, LARGEST)
    return radius if gain > _DOUBTED * foretold else _SHRINKS * radius


def _polled(
    problem: Problem,
    stand: Stand,
    points: Sequence[Doubles],
    traced: Sequence[Singles | None],
    excess: Sequence[float],
) -> Stand:
    """Return the best of the stand and the traced points round it."""
    rows = [
        (values, point)
        for point, values, over in zip(points, traced, excess, strict=True)
        if values is not None and over <= FORGIVEN
    ]
    found = problem.values_under([values for values, _ in rows], [point for _, point in rows])
    best = stand
    for (values, point), value in zip(rows, found, strict=True):
        if value < best.value:
            best = replace(stand, point=point, value=value, values=values)
    return best


def _lowest(problem: Problem, model: Model, stand: Stand) -> tuple[Doubles, bool]:
    """Return the point within the radius at which the judged model is lowest.

    And whether limits are near: they only cost time where there are none.
    """

    def values(points: Sequence[Doubles]) -> list[float]:
        return list(problem.values_under([model.at(p) for p in points], points))

    def kept(points: Sequence[Doubles]) -> list[float]:
        over = [max(0.0, min(x, 1e4) - FORGIVEN / 2) for x in problem.excess(points)]
        return [v + _PER_UNIT_OF_EXCESS * x for v, x in zip(values(points), over, strict=True)]

    box, guess = _box(model, stand), stand.point
    near = model.limits_near
    if not near:
        guess = descended(values, stand.point, box)
        near = problem.excess([guess])[0] > FORGIVEN
    if near:
        guess = _within_limits(problem, stand.point, descended(kept, stand.point, box))
    return guess, near


def _box(model: Model, stand: Stand) -> list[tuple[float, float]]:
    """Return the bounds within the radius; those of cheap coordinates lie `CHEAP_REACH` away."""
    found = []
    for i, x in enumerate(stand.point):
        reach = stand.radius if i < len(model.slopes) else CHEAP_REACH
        reach = reach if model.free[i] else 0.0
        found.append((max(0.0, x - reach), min(1.0, x + reach)))
    return found


def _within_limits(problem: Problem, inside: Doubles, wanted: Doubles) -> Doubles:
    """Return the farthest point towards the wanted one that keeps all limits, by halving."""
    if problem.excess([wanted])[0] <= FORGIVEN:
        return wanted
    near, far = 0.0, 1.0
    for _ in range(_HALVINGS):
        middle = (near + far) / 2
        if problem.excess([inside + middle * (wanted - inside)])[0] <= FORGIVEN:
            near = middle
        else:
            far = middle
    return inside + near * (wanted - inside)
