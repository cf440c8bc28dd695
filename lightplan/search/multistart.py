"""The planner's search: many starts, a trust-region step each, and the better half goes on.

Problem, step and stop rule are apart. Points live in the unit box. The same seed and number
of evaluations give the same answer, with any number of helpers; a time limit may cut it short.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from itertools import count
from typing import TYPE_CHECKING, Protocol, TypeVar

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.search.minimise import Found, Halt, StopReason, StopRule
from lightplan.search.spread import evenly
from lightplan.search.trust_region import Stand, most_traced

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

FIRST_RADIUS = 0.25
_WIDTHS = (4, 2), (8, 6)
"""How many stands take the first step of a round, and how many of them go on: in the first
round, which must end soon, and in those that follow where there is time."""
_IDLE_ROUNDS = 3
_MOST_SPREAD, _MOST_LATER = 48, 512
_PLAIN = 4
"""Every so many-th point is not mixed with a start, in case what the starts decide is wrong."""
_KEPT = 6
EARLY = 5
"""Points after which a search that is far behind is left: a quarter of what it begins with."""
FAR_BEHIND = 2.0
"""How many times the value above which a search is left its best of these must be. Our choice: of
the first searches of cupboards drawn at random none so far behind came first in the end."""
_APART = 0.05
_HOPED = 0.5
"""Of what its last step won, what a stand is hoped to win more, where it is chosen which go on
beside the best. Without it the only stand near the best of a narrow ridge was left, third by its
value after a step that had brought more than the others' (`tests/benchmarks/band_grid.py`)."""
_AT_ONCE = 4
_Job = TypeVar("_Job")


class Stepper(Protocol):
    """Begins and steps for several stands at once (a pool may share them)."""

    def begin(self, points: Sequence[Doubles], radius: float) -> Sequence[Stand | None]:
        """Return stands at points, each of one traced light; None where there can be none."""
        ...

    def step(self, stands: Sequence[Stand]) -> Sequence[Stand]:
        """Return each stand a step further."""
        ...


@dataclass(frozen=True, eq=False)
class Explored:
    """The best of a search, and good stands apart from it.

    Parameters
    ----------
    found : Found
    stands : tuple of Stand
    first : float
        The best value of the points that it began with; -inf where it ended before.
    early : float
        That of the first few of these.
    """

    found: Found
    stands: tuple[Stand, ...]
    first: float = -np.inf
    early: float = -np.inf

    def is_left_behind(self, value: float) -> bool:
        """Whether what it began with is not worth a step beside others of this value."""
        return self.first > value or self.early > FAR_BEHIND * value


def explore(
    stepper: Stepper,
    starts: Sequence[Doubles],
    *,
    dimensions: int,
    seed: int,
    rule: StopRule,
    on_best: Callable[[Stand, int], None] | None = None,
    spread: bool = True,
    at_once: int | None = None,
    left_behind: float = np.inf,
) -> Explored | None:
    """Return the best stand within the stop rule; None where no start keeps the limits.

    A round begins at given starts, at points that fill the box evenly, and at mixtures of
    both. The best of them take a step; the better ones of these go on until steps bring
    nothing. While evaluations are left, rounds follow from other points, twice as many each
    time, until three rounds in a row bring nothing.

    Parameters
    ----------
    starts : sequence of (n,) float
        At least one; closed-form guesses.
    dimensions : int
        Leading coordinates that need light to be traced anew.
    on_best : callable or None
        Told of each better stand, and how many lights were traced until then.
    spread : bool
        False: only the starts are gone on from, for who knows that they are near the best.
    at_once : int or None
        Steps that are asked for at once, so that a pool may share them; None: a few.
    left_behind : float
        Where no point that it begins with is as good as this, the search takes no step; where
        none of the first few is half as good, it ends with these.
    """
    search = _Search(stepper, dimensions, rule, on_best, _AT_ONCE if at_once is None else at_once)
    reason: StopReason = "converged"
    rng = np.random.default_rng(seed)
    size = starts[0].size
    try:
        if size == 0:
            search.begin(starts[:1])
            raise Halt("nothing to move")
        if not spread:
            search.round(starts, _WIDTHS[0])
            raise Halt("converged")
        best, idle = np.inf, 0
        for number in count():
            given = list(starts) if number == 0 else []
            filling = min(_spread(rule.evaluations, size) << number, _MOST_LATER)
            points = [*given, *_crossed(evenly(filling, size, rng), starts)]
            search.round(points, _WIDTHS[min(number, 1)], left_behind)
            idle = idle + 1 if search.value > best - rule.tolerance else 0
            best = min(best, search.value)
            if idle >= _IDLE_ROUNDS:
                break
    except Halt as halt:
        reason = halt.reason
    return search.explored(reason)


def _spread(evaluations: int, size: int) -> int:
    """Return how many points fill the box in the first round: a third of the lights at most.

    To look at a point costs one light, to go on from it a few dozen.
    """
    return max(8, min(evaluations // 3, 16 if size < 4 else _MOST_SPREAD))


def _crossed(points: Doubles, starts: Sequence[Doubles]) -> list[Doubles]:
    """Return points of which three in four take over what a start decides, in turn.

    That is where the start differs from the first; what it leaves as it was comes from the point.
    """
    found = list(points)
    for i, point in enumerate(found):
        if len(starts) > 1 and i % _PLAIN:
            start = starts[1 + i % (len(starts) - 1)]
            decided = np.abs(start - starts[0]) > _APART
            point[decided] = start[decided]
    return found


class _Search:
    """Counts lights traced, keeps all stands of the best, and halts in time."""

    def __init__(
        self,
        stepper: Stepper,
        dimensions: int,
        rule: StopRule,
        on_best: Callable[[Stand, int], None] | None,
        at_once: int,
    ) -> None:
        self._stepper, self._rule, self._on_best = stepper, rule, on_best
        self._at_once = at_once
        self._dimensions = dimensions
        self._began = time.monotonic()
        self._ended: list[Stand] = []
        self._first = self._early = -np.inf
        self._used = 0
        self._best: Stand | None = None
        self._history: list[tuple[int, float]] = []

    @property
    def value(self) -> float:
        """The best value so far."""
        return np.inf if self._best is None else self._best.value

    def begin(self, points: Sequence[Doubles], left_behind: float = np.inf) -> list[Stand]:
        """Return the stands at points, best first."""
        stands: list[Stand] = []
        for part in self._portions(points, lambda _: 1):
            found = [s for s in self._stepper.begin(part, FIRST_RADIUS) if s is not None]
            self._note(found, len(part))
            stands += found
            if np.isneginf(self._early) and self._used >= EARLY:
                self._early = self.value
                if self._early > FAR_BEHIND * left_behind:
                    self._first = self._early
                    raise Halt("left behind")
        return sorted(stands, key=lambda s: s.value)

    def round(
        self, points: Sequence[Doubles], widths: tuple[int, int], left_behind: float = np.inf
    ) -> None:
        """Search from some points until steps bring nothing."""
        stands = self.begin(points, left_behind)
        if np.isneginf(self._first):
            self._first = self.value
        if self._first > left_behind:
            raise Halt("left behind")
        left: list[Stand] = []
        for number in count():
            kept = _distinct(stands, most=widths[min(number, 1)])
            moving = [s for s in kept if not self._is_done(s)]
            left += [s for s in stands if s.model is not None and not _is_among(s, kept)]
            if not moving:  # before others are begun: they have paid for their models
                left = [s for s in left if not self._is_done(s) and _is_apart(s, kept)]
                left.sort(key=_hope)
                moving, left = left[:1], left[1:]
            if not moving:
                return
            stands = [s for s in kept if self._is_done(s)]
            for part in self._portions(moving, self._cost):
                stepped = list(self._stepper.step(part))
                self._note(stepped, sum(s.used for s in stepped))
                stands += stepped
            stands = _hopeful(stands)

    def explored(self, reason: StopReason) -> Explored | None:
        """Return the outcome."""
        if self._best is None:
            return None
        found = Found(
            point=read_only(self._best.point),
            value=self._best.value,
            evaluations=self._used,
            stopped_because=reason,
            history=tuple(self._history),
        )
        stands = tuple(_distinct(self._ended, most=_KEPT))
        return Explored(found, stands, self._first, self._early)

    def _cost(self, stand: Stand) -> int:
        return most_traced(stand, self._dimensions)

    def _is_done(self, stand: Stand) -> bool:
        """Whether a stand is settled: a step of nothing at a small radius, its model sound."""
        if stand.is_settled:
            return True
        small = stand.gain < self._rule.tolerance and stand.radius < _APART
        return small and stand.model is not None and not stand.model.is_worn

    def _portions(
        self, jobs: Sequence[_Job], cost: Callable[[_Job], int]
    ) -> Iterator[Sequence[_Job]]:
        """Yield jobs that can be afforded in portions, asking before each whether to stop."""
        waiting = list(jobs)
        while waiting:
            # something is looked at in any case, so that there is a best so far
            if self._used and self._rule.should_stop():
                raise Halt("stopped on request")
            seconds = self._rule.seconds
            if self._used and seconds is not None and time.monotonic() - self._began > seconds:
                raise Halt("time used up")
            left, part = self._rule.evaluations - self._used, []
            first, waiting = waiting[: self._at_once], waiting[self._at_once :]
            for job in first:
                if cost(job) <= left:
                    left -= cost(job)
                    part.append(job)
            if not part:
                raise Halt("evaluations used up")
            yield part
            waiting = [job for job in first if not any(job is one for one in part)] + waiting

    def _note(self, stands: Sequence[Stand], used: int) -> None:
        self._used += used
        for stand in stands:
            self._ended.append(stand)
            if stand.value < self.value:
                self._best = stand
                self._history.append((self._used, stand.value))
                if self._on_best is not None:
                    self._on_best(stand, self._used)
        self._ended = _distinct(sorted(self._ended, key=lambda s: s.value), most=_KEPT)


def _distinct(stands: Sequence[Stand], *, most: int) -> list[Stand]:
    """Return stands that differ from every better one by a twentieth of the box somewhere.

    The best come first, and no more are looked at than it takes to find as many as may be kept.
    """
    kept: list[Stand] = []
    for stand in stands:
        if len(kept) == most:
            break
        if _is_apart(stand, kept):
            kept.append(stand)
    return kept


def _is_apart(stand: Stand, others: Sequence[Stand]) -> bool:
    return all(np.abs(stand.point - one.point).max(initial=0.0) > _APART for one in others)


def _is_among(stand: Stand, others: Sequence[Stand]) -> bool:
    return any(stand is one for one in others)


def _hopeful(stands: Sequence[Stand]) -> list[Stand]:
    """Return the best stand, then the others by what they may come to."""
    best, *others = sorted(stands, key=lambda s: s.value)
    return [best, *sorted(others, key=_hope)]


def _hope(stand: Stand) -> float:
    """Return the value that a stand which took a step may come to with the next."""
    return stand.value - _HOPED * stand.gain
