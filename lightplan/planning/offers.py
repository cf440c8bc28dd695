"""What to buy, if anything: each offer is planned as well as it can be, and compared."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from lightplan.measures.verdict import KEEP_FROM
from lightplan.planning.catalogue import catalogue
from lightplan.planning.choosing import Arranged, candidates, share_of
from lightplan.planning.cupboard import HOLDERS, Cupboard, Item, Movable, cupboard_of
from lightplan.planning.effort import Effort, SearchJob
from lightplan.planning.exploring import explored
from lightplan.planning.judging_pool import Judges
from lightplan.planning.kit_words import HELPS_FROM, Offer, kit_sentences
from lightplan.progress import Progress, Stop, Watch, unwatched
from lightplan.scene.rounding import rounded
from lightplan.scene.setting_errors import SettingErrors
from lightplan.workers import Workers

if TYPE_CHECKING:
    from collections.abc import Sequence

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
    watch: Watch = unwatched,
    stop: Stop | None = None,
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
        For each plan; None: a quick search. Sets are worked out one in each process.
    watch : callable
        Told of each set that was looked at.
    stop : Stop or None
        Asked often; what was found until then is returned.
    """
    effort = Effort(evaluations=80) if effort is None else effort
    stop = Stop() if stop is None else stop
    shelf = tuple(catalogue(rig, owned) if shop is None else shop)
    sets = _sets(shelf, cupboard_of(rig, owned))
    begin = (rig, tuple(owned), replace(effort, helpers=0), seed)
    counter = "lightplan.planning.offers:OfferCounter"
    with Workers(counter, 1 + effort.helpers, begin=begin, stop=stop) as workers:
        base, gain, looked = _looked_at(workers, sets, watch)
        promising = _promising(base, looked)
        offers = [one.offer_with(gain) for one in looked if one not in promising]
        offers += _searched(workers, promising, gain)
        if base.score < KEEP_FROM and not stop.asked:
            pairs = pairs_worth_trying(offers)
            offers += [offer for _, (offer, _) in workers.answers([("both", p) for p in pairs])]
    return _advice(base, offers, frozenset(item.name for item in owned))


def _looked_at(
    workers: Workers, sets: Sequence[tuple[Item, ...]], watch: Watch
) -> tuple[Offer, float, list[_Looked]]:
    """Return the base after its search and what that gained, and all sets under one light.

    The base takes longest: it is begun first, and the others are looked at beside it.
    """
    jobs: list[tuple[str, tuple[Item, ...]]] = [("both", ()), *(("look", one) for one in sets)]
    looked: dict[int, _Looked] = {}
    base = Offer(items=(), price=0.0, rig=None, score=0.0, reason="stopped before it was searched")
    gain = 0.0
    for number, answer in workers.answers(jobs):
        if number == 0:
            base, gain = answer
        else:
            looked[number] = answer
        name = "what you own" if number == 0 else sets[number - 1][0].name
        done = len(looked) + int(base.rig is not None)
        watch(Progress(stage="looking at what would help", done=done, of=len(jobs), note=name))
    return base, gain, [looked[number] for number in sorted(looked)]


def _searched(workers: Workers, promising: Sequence[_Looked], gain: float) -> list[Offer]:
    """Return sets after a search; after a stop those it left out as they were looked at."""
    found = dict(workers.answers([("search", one) for one in promising]))
    return [
        found[number] if number in found else one.offer_with(gain)
        for number, one in enumerate(promising)
    ]


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
    candidate: Arranged | None

    def offer_with(self, gain: float) -> Offer:
        """Return the offer as a search would leave it that gains what the base's did."""
        if self.candidate is None:
            return self.offer
        return replace(self.offer, score=min(FULL_SCORE, self.offer.score + gain))


def _promising(base: Offer, looked: Sequence[_Looked]) -> list[_Looked]:
    """Return what is worth a search: none where no score could be said to help."""
    if base.score + HELPS_FROM > FULL_SCORE:
        return []
    fitting = [one for one in looked if one.candidate is not None]
    return sorted(fitting, key=lambda one: -one.offer.score)[:SEARCHED]


class OfferCounter:
    """Works out what sets of things reach, over what is owned; one in each process.

    Parameters
    ----------
    rig, owned
        See `advise_kit`.
    effort : Effort
        For each search.
    seed : int
    stop : Stop
        Of this process.
    """

    def __init__(
        self, rig: Rig, owned: tuple[Item, ...], effort: Effort, seed: int, *, stop: Stop
    ) -> None:
        self._rig, self._owned = rig, owned
        self._job = SearchJob(effort, SettingErrors(), seed, None, lambda: stop.asked)
        self._judges = Judges(rig)
        self._had = _names(cupboard_of(rig, owned))

    def __call__(self, task: str, given: Any) -> Any:
        """Return a set looked at ("look"), one of those searched ("search"), or both."""
        if task == "look":
            return self._looked_at(given)
        if task == "search":
            return self._searched(given)
        looked = self._looked_at(given)
        offer = self._searched(looked)
        return offer, max(0.0, offer.score - looked.offer.score)

    def _looked_at(self, items: tuple[Item, ...]) -> _Looked:
        """Return what a set reaches under one light."""
        prices = [item.price for item in items]
        price = None if any(p is None for p in prices) else sum(p for p in prices if p is not None)
        cupboard = cupboard_of(self._rig, (*self._owned, *items))
        found = candidates(self._judges, cupboard, quick=True, using=_names(cupboard) - self._had)
        if not found:
            reason = _why_not(items, cupboard)
            offer = Offer(items=items, price=price, rig=None, score=0.0, reason=reason)
            return _Looked(offer=offer, candidate=None)
        score = FULL_SCORE * share_of(found[0].bare)
        rig = rounded(found[0].rig)
        offer = Offer(items=items, price=price, rig=rig, score=score, reason="")
        return _Looked(offer=offer, candidate=found[0])

    def _searched(self, looked: _Looked) -> Offer:
        """Return an offer after a search from where it was looked at."""
        best = looked.candidate
        if best is None:
            return looked.offer
        # The engine's work on the sheet is reused for the same object alone, not for its copy
        # that came from another process; a search's rigs all have the sheet of the rig given.
        start = replace(best.rig, sheet=self._rig.sheet, room=self._rig.room)
        self._judges.use(start)
        found = explored(
            self._judges, self._job, self._job.effort.evaluations, [start], spread=False
        )
        bench = self._judges.bench
        judged = bench.judge_refined(start if found is None else bench.rig_at(found.found.point))
        return replace(looked.offer, rig=rounded(judged.rig), score=judged.score)


def _why_not(items: tuple[Item, ...], cupboard: Cupboard) -> str:
    """Return why no arrangement could be made with things."""
    kinds = {item.kind for item in items}
    look = cupboard.base.look.kind
    if not cupboard.has_light:
        return "there is no lamp to light it"
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
