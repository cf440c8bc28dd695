"""What to buy, if anything: each offer is planned as well as it can be, and compared."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.measures.score import KEEP_FROM
from lightplan.planning.catalogue import catalogue
from lightplan.planning.choosing import Candidate, candidates, detail_for, share_of
from lightplan.planning.cupboard import HOLDERS, Cupboard, Item, Movable, cupboard_of
from lightplan.planning.effort import Effort, Job
from lightplan.planning.kit_words import HELPS_FROM, Offer, kit_sentences
from lightplan.planning.plan import explored
from lightplan.planning.pool import Judges
from lightplan.scene.rounding import rounded
from lightplan.scene.setting_errors import SettingErrors

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.scene import HolderKind, Rig

HANGS: tuple[HolderKind, ...] = ("clamp", "boom", "string")
HANGER = Item(name="a clamp with an arm", kind="clamp")
"""What a diffuser is offered with where nothing that is owned hangs it."""
SEARCHED = 5
"""Offers that are searched after all were looked at: the most promising."""
FULL_SCORE = 100.0
MOST_PAIRS = 2
"""How many pairs are tried after the single things; each takes as long as a plan."""


@dataclass(frozen=True, kw_only=True, eq=False)
class KitAdvice:
    """What would help before any money is spent.

    Parameters
    ----------
    base : Offer
        The rig as it is, planned.
    offers : tuple of Offer
        Everything that was tried, best first.
    cheapest : Offer or None
        The cheapest that meets the look; None when nothing does. The base, where
        nothing needs buying.
    needs_nothing : bool
        Whether what is owned meets the look.
    sentences : tuple of str
        The advice in plain words.
    """

    base: Offer
    offers: tuple[Offer, ...]
    cheapest: Offer | None
    needs_nothing: bool
    sentences: tuple[str, ...]


def advise_kit(
    rig: Rig,
    *,
    owned: Sequence[Item] = (),
    shop: Sequence[Item] | None = None,
    seed: int = 0,
    effort: Effort | None = None,
    progress: Callable[[str, int, int], None] | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> KitAdvice:
    """Return what would help, by the score that each set reaches when planned.

    The base is the best plan with everything that is owned. Each thing of the shop is brought
    in: arrangements that use it are looked at under one light each, and the most promising
    are searched as the base was, unless what is owned leaves no room to help. Where what is
    owned does not meet the look, some pairs of different kinds are tried: the best ones where
    no single thing meets it, else those that cost less than it does.

    Parameters
    ----------
    owned : sequence of Item
        Beyond what stands in the rig.
    shop : sequence of Item or None
        What can be bought; None: `catalogue`.
    effort : Effort or None
        For each plan; None: a quick search.
    progress : callable or None
        Told of each offer: name, how many are done, of how many.
    """
    effort = Effort(evaluations=80) if effort is None else effort
    job = Job(effort, SettingErrors(), seed, None, should_stop)
    shelf = tuple(catalogue(rig) if shop is None else shop)
    sets = _sets(shelf, cupboard_of(rig, owned))
    with Judges(rig, detail_for(rig), helpers=effort.helpers) as judges:
        counter = _Counter(judges, job, rig, tuple(owned))
        base = counter.searched(counter.looked_at(()))
        looked: list[_Looked] = []
        for i, items in enumerate(sets):
            if should_stop():
                break
            if progress is not None:
                progress(items[0].name, i, len(sets))
            looked.append(counter.looked_at(items))
        promising = _promising(base, looked)
        offers = [
            counter.searched(one) if one in promising and not should_stop() else one.offer
            for one in looked
        ]
        if base.score < KEEP_FROM:
            for pair in pairs_worth_trying(offers):
                if should_stop():
                    break
                offers.append(counter.searched(counter.looked_at(pair)))
    return _advice(base, offers, frozenset(item.name for item in owned))


def _sets(shelf: Sequence[Item], had: Cupboard) -> list[tuple[Item, ...]]:
    """Return what is tried: each thing, a diffuser with what hangs it where nothing owned does.

    What hangs things is tried by itself too there: with it, boards that are owned can hang.
    """
    others: list[tuple[Item, ...]] = [(item,) for item in shelf if item.kind not in HOLDERS]
    if any(kind in had.holders for kind in HANGS):
        return others
    hanging = [item for item in shelf if item.kind in HANGS]
    cheapest = min(hanging, key=lambda i: (i.price is None, i.price or 0.0), default=HANGER)
    hung = [(*one, cheapest) if one[0].kind == "diffuser" else one for one in others]
    return [(cheapest,), *hung]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Looked:
    """An offer under one light, and what its search would begin at; None where nothing fits."""

    offer: Offer
    candidate: Candidate | None


def _promising(base: Offer, looked: Sequence[_Looked]) -> list[_Looked]:
    """Return what is worth a search: none where no score could be said to help."""
    if base.score + HELPS_FROM > FULL_SCORE:
        return []
    fitting = [one for one in looked if one.candidate is not None]
    return sorted(fitting, key=lambda one: -one.offer.score)[:SEARCHED]


class _Counter:
    """Works out what sets of things reach, over what is owned."""

    def __init__(self, judges: Judges, job: Job, rig: Rig, owned: tuple[Item, ...]) -> None:
        self._judges, self._job, self._rig, self._owned = judges, job, rig, owned
        self._had = _names(cupboard_of(rig, owned))
        self._searched_over_looked = 0.0

    def looked_at(self, items: tuple[Item, ...]) -> _Looked:
        """Return what a set reaches under one light and what the search of the base gained."""
        prices = [item.price for item in items]
        price = None if any(p is None for p in prices) else sum(p for p in prices if p is not None)
        cupboard = cupboard_of(self._rig, (*self._owned, *items))
        found = candidates(self._judges, cupboard, quick=True, using=_names(cupboard) - self._had)
        if not found:
            reason = _why_not(items, cupboard)
            offer = Offer(items=items, price=price, rig=None, score=0.0, reason=reason)
            return _Looked(offer=offer, candidate=None)
        score = min(FULL_SCORE, FULL_SCORE * share_of(found[0].bare) + self._searched_over_looked)
        rig = rounded(found[0].rig)
        offer = Offer(items=items, price=price, rig=rig, score=score, reason="")
        return _Looked(offer=offer, candidate=found[0])

    def searched(self, looked: _Looked) -> Offer:
        """Return an offer after a search from where it was looked at."""
        best = looked.candidate
        if best is None:
            return looked.offer
        self._judges.use(best.rig)
        found = explored(
            self._judges, self._job, self._job.effort.evaluations, [best.rig], spread=False
        )
        bench = self._judges.bench
        judged = bench.judge_refined(best.rig if found is None else bench.rig_at(found.found.point))
        if not looked.offer.items:
            seen = FULL_SCORE * share_of(best.bare)
            self._searched_over_looked = max(0.0, judged.score - seen)
        return replace(looked.offer, rig=rounded(judged.rig), score=judged.score)


def _why_not(items: tuple[Item, ...], cupboard: Cupboard) -> str:
    """Return why no arrangement could be made with things."""
    kinds = {item.kind for item in items}
    look = cupboard.base.look.kind
    if kinds & {"cone", "tent"}:
        return "the camera would have to look straight down through its top"
    if "diffuser" in kinds and not cupboard.lamps:
        return "there is no lamp to put behind it"
    if "black board" in kinds and look != "dark field":
        return f"the look {look} has no part for it"
    return "it does not fit into the room, or the look has no part for it"


def _names(cupboard: Cupboard) -> frozenset[str]:
    things: list[Movable] = [
        *cupboard.lamps,
        *cupboard.boards,
        *cupboard.blacks,
        *cupboard.diffusers,
        *cupboard.shells,
        *cupboard.windows,
    ]
    return frozenset(thing.name for thing in things)


def pairs_worth_trying(offers: Sequence[Offer]) -> list[tuple[Item, ...]]:
    """Return the pairs of different kinds to try after each thing alone, the likeliest first.

    Where something alone meets the look, only pairs whose price is known to be lower.
    """
    meets = [o for o in offers if o.score >= KEEP_FROM]
    limit = min((o.price for o in meets if o.price is not None), default=None)
    if meets and limit is None:
        return []
    usable = [o for o in offers if o.rig is not None]
    found = []
    for first, second in itertools.combinations(usable, 2):
        items = tuple(dict.fromkeys((*first.items, *second.items)))  # one clamp holds for both
        prices = [item.price for item in items]
        price = None if None in prices else sum(p for p in prices if p is not None)
        is_cheaper = limit is None or (price is not None and price < limit)
        if first.items[0].kind != second.items[0].kind and is_cheaper:
            found.append((first.score + second.score, items))
    found.sort(key=lambda pair: -pair[0])
    return [pair for _, pair in found[:MOST_PAIRS]]


def _advice(base: Offer, offers: list[Offer], owned: frozenset[str]) -> KitAdvice:
    ranked = tuple(sorted(offers, key=lambda o: -o.score))
    needs_nothing = base.score >= KEEP_FROM
    free = [o for o in ranked if o.score >= KEEP_FROM and o.is_owned(owned)]
    meets = [o for o in ranked if o.score >= KEEP_FROM]
    priced = sorted(meets, key=lambda o: (o.price is None, o.price, -o.score))
    candidates = [base] if needs_nothing else [*free, *priced]
    cheapest = candidates[0] if candidates else None
    return KitAdvice(
        base=base,
        offers=ranked,
        cheapest=cheapest,
        needs_nothing=needs_nothing or bool(free),
        sentences=kit_sentences(base, ranked, cheapest, owned, needs_nothing=needs_nothing),
    )
