"""Arrangements that are searched beside each other, and where each of them stands."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.planning.arrangements.keys import AS_IT_STANDS
from lightplan.planning.choosing import share_of
from lightplan.planning.exploring import Search, Searched, explored
from lightplan.scene.dimensions import Space

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.choosing import Arranged
    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.effort import Report, SearchJob, SearchProgress
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig
    from lightplan.search.multistart import Explored

FINALISTS = 2
"""Arrangements that go on and settle beside each other at the most. Our choice."""
OVERTAKES = 0.05
"""Of the value, by which an arrangement may gain more than another where both settle: 5 points.
The second settles beside the first, in another process. Our choice."""
FARTHER = 2.0
"""How many times as far from a perfect score as the best an arrangement may be that goes on. Of 12
products none that was farther came first in the end; from 1.5 times as far one did."""
BEHIND = 0.6
"""Of the value, above the best so far, at which an arrangement takes no step where none of its
first points is better, if that is more than twice as far from perfect too: what won was never
more than 0.45 above, and 0.7 where all were far from it (the same products)."""
HOPELESS = 10.0
"""How many times as far from perfect its first points may be at the most: all steps together
brought what went on eight times nearer where the best was close to it (the same products)."""
NEARLY_THERE = 0.06
"""Value from which an arrangement settles and does not roam on: with so little left to win,
to turn things brought more than to look elsewhere; at 0.09 to look elsewhere did once (the same
products)."""
PERFECT = 0.002
"""Value of a search from which nothing better is looked for: a fifth of a point."""
ONE_STEP = 2.5
"""Evaluations to a dimension without which a search takes no step: it looks both ways."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Finalist:
    """An arrangement that a search ended at.

    Parameters
    ----------
    name : str
        What it is, in words.
    rig : Rig
        With the freedoms that it was searched in.
    explored : Explored
        Where its search stands.
    things : int
        How many things are brought in.
    """

    name: str
    rig: Rig
    explored: Explored
    things: int = 0


def _never(_: Arranged) -> float:
    return math.inf


@dataclass(frozen=True, eq=False)
class Runner:
    """An arrangement that is to be searched, for the first time or further.

    Parameters
    ----------
    candidate : Candidate
    rig : Rig
        The arrangement with the freedoms to search it in.
    evaluations : int
    spread : bool
        Whether points all over those are looked at, each time others.
    is_last : bool
        Whether it is at its end with that.
    """

    candidate: Arranged
    rig: Rig
    evaluations: int
    spread: bool = False
    is_last: bool = False


@dataclass(frozen=True, eq=False)
class _Stand:
    """Where the search of an arrangement stands: the rig that it moves in, and what it found."""

    rig: Rig
    found: Searched

    @property
    def value(self) -> float:
        return self.found.explored.found.value

    @property
    def best_rig(self) -> Rig:
        return self.found.rigs[0]


class Heat:
    """Arrangements that are searched beside each other, each from where it stood.

    Parameters
    ----------
    judges, job, cupboard
        The judges' detail is that of all searches, whatever they are used for between these.
    of : float
        About how many rigs will be looked at, for whom it is told.
    """

    def __init__(self, judges: Judges, job: SearchJob, cupboard: Cupboard, of: float) -> None:
        self._judges, self.job, self.cupboard, self._of = judges, job, cupboard, of
        self.detail = judges.detail
        self.stands: dict[Arranged, _Stand] = {}
        self.ended: set[Arranged] = set()
        self.used = 0

    def further(self, entries: Sequence[Runner]) -> None:
        """Search arrangements further: one with all processes, several side by side."""
        if len(entries) == 1:
            self.go_on(entries[0])
        else:
            self.enter(entries)

    def enter(
        self,
        entries: Sequence[Runner],
        may: Callable[[Arranged], bool] = lambda _: True,
        behind: Callable[[Arranged], float] = _never,
    ) -> None:
        """Search arrangements side by side, each whole in one process; none of them after a stop.

        Parameters
        ----------
        may : callable
            Whether a candidate is searched, asked as if one were searched after the other.
        behind : callable
            Value above which its first points are not worth a step, asked in the same way.
        """
        entries = [entry for entry in entries if entry.evaluations > 0]
        if not entries or (self.stands and self.job.should_stop()):
            return
        job = replace(self.job, progress=self._telling())
        referee = Round(self, entries, may, behind)
        self._judges.alongside([self._search(e) for e in entries], referee, job)

    def go_on(self, entry: Runner) -> None:
        """Search one arrangement further, its steps shared by all processes; not after a stop."""
        if entry.evaluations <= 0 or self.job.should_stop():
            return
        self._judges.use(entry.rig, self.detail)
        search = self._search(entry)
        job = replace(self.job, seed=search.seed, progress=self._telling())
        found = explored(
            self._judges, job, search.evaluations, search.begin_at, spread=search.spread
        )
        if found is not None:
            rigs = tuple(self._judges.bench.rig_at(stand.point) for stand in found.stands)
            self.take(entry, Searched(found, rigs))

    def take(self, entry: Runner, found: Searched) -> None:
        """Count a search, and keep what it found where that is no worse."""
        self.used += found.explored.found.evaluations
        if entry.is_last:
            self.ended.add(entry.candidate)
        before = self.stands.get(entry.candidate)
        if before is None or found.explored.found.value <= before.value:
            self.stands[entry.candidate] = _Stand(entry.rig, found)

    def best(self, count: int) -> list[Arranged]:
        """Return the best so far, a little for each thing counted."""
        return sorted(self.stands, key=self._rank)[:count]

    def close(self, count: int, within: float = math.inf) -> list[Arranged]:
        """Return the best so far, and of the next those that may overtake it when they go on.

        Parameters
        ----------
        within : float
            By how much they may be worse, besides being not much farther from perfect.
        """
        first, *others = self.best(count)
        best = self._rank(first)
        limit = min(FARTHER * max(best, PERFECT), best + within)
        return [first, *(one for one in others if self._rank(one) < limit)]

    def own(self, within: float) -> list[Arranged]:
        """Return the maker's own arrangement, as it stands, where it is no worse by more."""
        (best,) = self.best(1)
        limit = self._rank(best) + within
        return [o for o in self.stands if o.name == AS_IT_STANDS and self._rank(o) < limit]

    def left_behind(self, candidate: Arranged) -> float:
        """Return the value above which a candidate's first points cannot win."""
        best = min((self._rank(one) for one in self.stands), default=math.inf)
        limit = min(max(FARTHER * best, best + BEHIND), HOPELESS * max(best, PERFECT))
        return limit - (candidate.value - candidate.bare)

    def may_win(self, candidate: Arranged) -> bool:
        """Whether a perfect arrangement of as few things is not there yet."""
        return all(
            self._rank(one) > candidate.value - candidate.bare + PERFECT for one in self.stands
        )

    def is_nearly_there(self, candidate: Arranged) -> bool:
        """Whether there is little left to win for an arrangement."""
        return self.stands[candidate].value < NEARLY_THERE

    def rivals(self, winner: Finalist, value: float) -> list[Arranged]:
        """Return the best of the others that are close to a winner whose builds are worth less.

        Parameters
        ----------
        value : float
            What its builds are worth in the mean, as the search has it.
        """
        limit = min(FARTHER * max(value, PERFECT), value + OVERTAKES)
        others = [one for one in self.stands if self.stands[one].rig is not winner.rig]
        return sorted((o for o in others if self._rank(o) < limit), key=self._rank)[:FINALISTS]

    def outcome(self) -> list[Finalist]:
        """Return the best arrangement with its search, and the next where it is nearly as good."""
        near = self.close(1 if self.job.effort.is_by_eye else FINALISTS, OVERTAKES)
        return [self.finalist(one) for one in near]

    def finalist(self, one: Arranged) -> Finalist:
        """Return an arrangement as its search stands, with the lights of all searches."""
        stand = self.stands[one]
        found = replace(stand.found.explored.found, evaluations=self.used)
        explored = replace(stand.found.explored, found=found)
        return Finalist(name=one.name, rig=stand.rig, explored=explored, things=one.things)

    def _search(self, entry: Runner) -> Search:
        before, begin_at = self.stands.get(entry.candidate), None
        if before is not None:
            begin_at = before.found.rigs[: None if entry.spread else 1]
        elif not entry.spread:
            begin_at = (entry.rig,)
        effort = self.job.effort
        least = math.ceil(ONE_STEP * len(Space.of(entry.rig).geometry))
        return Search(
            rig=entry.rig,
            detail=self.detail,
            evaluations=max(entry.evaluations, least),
            seed=self.job.seed + (before is not None),
            begin_at=begin_at,
            spread=entry.spread,
            seconds=effort.seconds,
            tolerance=effort.tolerance,
        )

    def _telling(self) -> Report | None:
        """Return what tells of the best of all searches, and how far they have come together."""
        report, of = self.job.progress, round(self._of)
        if report is None:
            return None

        def tell(told: SearchProgress) -> None:
            best = min(list(self.stands.values()), key=lambda one: one.value, default=None)
            done = min(self.used + told.done, of)
            score = 0.0 if best is None else 100.0 * share_of(best.value)
            if best is not None and score > told.score:
                told = replace(told, score=score, rig=best.best_rig)
            report(replace(told, done=done, of=of))

        return tell

    def _rank(self, one: Arranged) -> float:
        return self.stands[one].value + one.value - one.bare


class Round:
    """Entries that are searched side by side, taken as if one came after the other.

    So who is searched at all does not hang on how many processes there are.
    """

    def __init__(
        self,
        heat: Heat,
        entries: Sequence[Runner],
        may: Callable[[Arranged], bool],
        behind: Callable[[Arranged], float],
    ) -> None:
        self._heat, self._entries, self._may, self._behind = heat, entries, may, behind
        self._answers: dict[int, Searched | None] = {}
        self._taken = 0

    def needs(self, number: int) -> bool:
        """Return whether an entry may still win, by those before it that are known so far."""
        return self._may(self._entries[number].candidate)

    def begun(self, number: int, search: Search) -> Search:
        """Return a search that ends soon where it can be seen that it will not win."""
        return replace(search, left_behind=self._behind(self._entries[number].candidate))

    def note(self, number: int, found: Searched | None) -> None:
        """Keep an answer until all before it are there."""
        self._answers[number] = found
        while self._taken in self._answers:
            answer, entry = self._answers.pop(self._taken), self._entries[self._taken]
            self._taken += 1
            if answer is None or not self._may(entry.candidate):
                continue
            if not answer.explored.is_left_behind(self._behind(entry.candidate)):
                self._heat.take(entry, answer)
