"""Which arrangement of a cupboard is planned: the best few are searched beside each other."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.planning.arrangements.keys import AS_IT_STANDS
from lightplan.planning.choosing import Arranged, candidates, share_of, varied
from lightplan.planning.effort import Effort, SearchJob, SearchProgress
from lightplan.planning.exploring import Search, Searched, explored
from lightplan.planning.roaming import roaming, settled
from lightplan.scene.dimensions import Space

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.effort import Report
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig
    from lightplan.search.multistart import Explored

QUICK_SHARE = 0.26
"""Of a quick plan's evaluations, for each of the arrangements that are searched first."""
FIRST_SHARE, FINALISTS, FINAL_SHARE, LAST_SHARE = 0.2, 2, 0.35, 0.3
"""Of the evaluations: for each arrangement whose things roam first, from many points and a step
or two; how many of them roam on, with how much each; and what the best gets to settle in.
Where nothing but one look decided, plans from bare cupboards ended up to 40 points below the
same things arranged by hand, and 7 below where things could not go far
(`tests/benchmarks/cupboards.py`)."""
OF_A_KIND = 2
"""Arrangements of a kind that are searched: what differs in places alone, roaming finds."""
OVERTAKES = 0.05
"""Of the value, by which an arrangement may gain more than another where both settle: 5 points.
The second settles beside the first, in another process. Our choice."""
OWN_WITHIN = 0.03
"""Of the value, by which the maker's own arrangement may be worse than the best and goes on all the
same: it was third on one shipped rig, and best by 2 points once it had gone on."""
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
SETTLES_SHARE = 0.5
"""Of the evaluations, for an arrangement that settles at once."""
PERFECT = 0.002
"""Value of a search from which nothing better is looked for: a fifth of a point."""
ONE_STEP = 2.5
"""Evaluations to a dimension without which a search takes no step: it looks both ways."""


def evaluations_of(effort: Effort) -> float:
    """Return about how many rigs are looked at altogether, those of all arrangements.

    >>> round(evaluations_of(Effort(evaluations=100)))
    240
    """
    if effort.is_quick or effort.searched <= FINALISTS:
        return effort.evaluations
    shares = effort.searched * FIRST_SHARE + FINALISTS * FINAL_SHARE + LAST_SHARE
    return effort.evaluations * shares


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


def chosen(judges: Judges, job: SearchJob, cupboard: Cupboard) -> list[Finalist]:
    """Return the arrangement that is best once searched, and those that are nearly as good.

    Best first; none where nothing can be built. The first few arrangements take a step or two
    each, the best of them go on, and the best of these get the rest.
    """
    _tell(job, "looking at arrangements", 0, cupboard.given)
    ranked = candidates(judges, cupboard, quick=job.effort.is_quick, should_stop=job.should_stop)
    if not ranked:
        return []
    is_quick = job.effort.is_quick or job.effort.searched <= FINALISTS
    search = _quickly if is_quick else _thoroughly
    return search(_Heat(judges, job, cupboard), ranked)


def _quickly(heat: _Heat, ranked: Sequence[Arranged]) -> list[Finalist]:
    """Search the first arrangements within what each leaves free, and the best of them further."""
    effort = heat.job.effort
    share = 0.5 if effort.searched == 1 else QUICK_SHARE
    of_a_kind = 1 if effort.is_quick else OF_A_KIND
    first = varied(ranked, effort.searched, of_a_kind=of_a_kind)
    heat.enter([_Runner(one, one.rig, round(share * effort.evaluations)) for one in first])
    if not heat.stands:
        return []
    near = heat.close(1 if effort.is_by_eye else FINALISTS, OVERTAKES)
    left = (effort.evaluations - heat.used) // len(near)
    spread = not effort.is_quick
    heat.further([_Runner(one, heat.stands[one].rig, left, spread=spread) for one in near])
    return heat.outcome()


def _thoroughly(heat: _Heat, ranked: Sequence[Arranged]) -> list[Finalist]:
    """Let things roam in the first arrangements, then in the best, and settle the best of all."""
    effort, narrowed = heat.job.effort, heat.cupboard.narrowed
    count = round(FIRST_SHARE * effort.evaluations)
    first = varied(ranked, effort.searched, of_a_kind=OF_A_KIND)
    roams = [_Runner(one, roaming(one.rig, narrowed), count, spread=True) for one in first]
    heat.enter(roams, heat.may_win, heat.left_behind)
    if not heat.stands:
        return []
    count = round(FINAL_SHARE * effort.evaluations)
    first = [*heat.close(FINALISTS), *heat.own(OWN_WITHIN)]
    finalists = [one for one in dict.fromkeys(first) if not heat.is_nearly_there(one)]
    heat.further([_Runner(one, heat.stands[one].rig, count, spread=True) for one in finalists])
    settles = [
        (one, LAST_SHARE if one in finalists else SETTLES_SHARE)
        for one in heat.close(FINALISTS, OVERTAKES)
    ]
    heat.further(
        [
            _Runner(
                one,
                settled(one.rig, heat.stands[one].best_rig, narrowed),
                round(share * effort.evaluations),
            )
            for one, share in settles
        ]
    )
    return heat.outcome()


def _never(_: Arranged) -> float:
    return math.inf


@dataclass(frozen=True, eq=False)
class _Runner:
    """An arrangement that is to be searched, for the first time or further.

    Parameters
    ----------
    candidate : Candidate
    rig : Rig
        The arrangement with the freedoms to search it in.
    evaluations : int
    spread : bool
        Whether points all over those are looked at, each time others.
    """

    candidate: Arranged
    rig: Rig
    evaluations: int
    spread: bool = False


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


class _Heat:
    """Arrangements that are searched beside each other, each from where it stood."""

    def __init__(self, judges: Judges, job: SearchJob, cupboard: Cupboard) -> None:
        self._judges, self.job, self.cupboard = judges, job, cupboard
        self._detail = judges.detail
        self.stands: dict[Arranged, _Stand] = {}
        self.used = 0

    def further(self, entries: Sequence[_Runner]) -> None:
        """Search arrangements further: one with all processes, several side by side."""
        if len(entries) == 1:
            self.go_on(entries[0])
        else:
            self.enter(entries)

    def enter(
        self,
        entries: Sequence[_Runner],
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
        referee = _Round(self, entries, may, behind)
        self._judges.alongside([self._search(e) for e in entries], referee, job)

    def go_on(self, entry: _Runner) -> None:
        """Search one arrangement further, its steps shared by all processes; not after a stop."""
        if entry.evaluations <= 0 or self.job.should_stop():
            return
        self._judges.use(entry.rig)
        search = self._search(entry)
        job = replace(self.job, seed=search.seed, progress=self._telling())
        found = explored(
            self._judges, job, search.evaluations, search.begin_at, spread=search.spread
        )
        if found is not None:
            rigs = tuple(self._judges.bench.rig_at(stand.point) for stand in found.stands)
            self.take(entry, Searched(found, rigs))

    def take(self, entry: _Runner, found: Searched) -> None:
        """Count a search, and keep what it found where that is no worse."""
        self.used += found.explored.found.evaluations
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

    def outcome(self) -> list[Finalist]:
        """Return the best arrangement with its search, and the next where it is nearly as good."""
        return [
            Finalist(
                name=one.name,
                rig=stand.rig,
                explored=replace(
                    stand.found.explored,
                    found=replace(stand.found.explored.found, evaluations=self.used),
                ),
                things=one.things,
            )
            for one in self.close(1 if self.job.effort.is_by_eye else FINALISTS, OVERTAKES)
            for stand in (self.stands[one],)
        ]

    def _search(self, entry: _Runner) -> Search:
        before, begin_at = self.stands.get(entry.candidate), None
        if before is not None:
            begin_at = before.found.rigs[: None if entry.spread else 1]
        elif not entry.spread:
            begin_at = (entry.rig,)
        effort = self.job.effort
        least = math.ceil(ONE_STEP * len(Space.of(entry.rig).geometry))
        return Search(
            rig=entry.rig,
            detail=self._detail,
            evaluations=max(entry.evaluations, least),
            seed=self.job.seed + (before is not None),
            begin_at=begin_at,
            spread=entry.spread,
            seconds=effort.seconds,
            tolerance=effort.tolerance,
        )

    def _telling(self) -> Report | None:
        """Return what tells of the best of all searches, and how far they have come together."""
        report, of = self.job.progress, round(evaluations_of(self.job.effort))
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


class _Round:
    """Entries that are searched side by side, taken as if one came after the other.

    So who is searched at all does not hang on how many processes there are.
    """

    def __init__(
        self,
        heat: _Heat,
        entries: Sequence[_Runner],
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


def _tell(job: SearchJob, stage: str, done: int, rig: Rig) -> None:
    if job.progress is not None:
        job.progress(
            SearchProgress(stage=stage, done=done, of=job.effort.evaluations, score=0.0, rig=rig)
        )
