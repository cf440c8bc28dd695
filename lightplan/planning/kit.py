"""What to buy, if anything: each offer is planned as well as it can be, and compared."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from lightplan.measures.score import KEEP_FROM
from lightplan.merit.bench import Judged
from lightplan.planning.effort import Effort
from lightplan.planning.fittings import Item, variants
from lightplan.planning.kit_words import Offer, kit_sentences
from lightplan.planning.plan import quick_plan
from lightplan.planning.result import NoPlan
from lightplan.scene import Output, Rig

MOST_PAIRS = 3
"""How many pairs are tried after the single things; each takes as long as a plan."""


def catalogue(rig: Rig) -> tuple[Item, ...]:
    """Return what is usually for sale, without prices.

    Boards in common paper sizes (ISO 216: A3, A2, A1), round diffusers, a further lamp
    like the largest in the rig, a window, a cone and a tent of twice the sheet.
    """
    long_side = max(rig.sheet.width_mm, rig.sheet.height_mm)
    found = [
        Item(name=f"{paper} {colour} board", kind=f"{colour} board", width_mm=w, height_mm=h)
        for paper, w, h in (("A3", 420, 297), ("A2", 594, 420), ("A1", 841, 594))
        for colour in ("white", "black")
    ]
    found += [
        Item(name=f"diffuser {size}", kind="diffuser", width_mm=size, height_mm=size)
        for size in (300, 600, 900)
    ]
    lamps = [lamp for lamp in rig.lamps if not lamp.is_window]
    if lamps:
        largest = max(lamps, key=lambda lamp: lamp.width_mm * lamp.height_mm)
        found.append(
            Item(
                name=f"another lamp like {largest.name}", kind="lamp", output=largest.output,
                width_mm=largest.width_mm, height_mm=largest.height_mm,
            )
        )  # fmt: skip
    shell = max(2.5 * long_side, 250.0)
    found += [
        Item(name="a window", kind="window", width_mm=1000, height_mm=1200,
             output=Output(value=2000.0, unit="cd/m2")),
        Item(name="a diffusing cone", kind="cone", width_mm=shell, height_mm=shell),
        Item(name="a light tent", kind="tent", width_mm=1.5 * shell, height_mm=1.5 * shell),
    ]  # fmt: skip
    return tuple(found)


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

    Tried are the rig itself, each thing that is owned and not in it, each thing of the
    shop, and, where the rig itself does not meet the look, some pairs of different kinds:
    the best ones where no single thing meets it, else those that cost less than it does.

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
    effort = Effort(evaluations=120) if effort is None else effort
    things = [*owned, *(catalogue(rig) if shop is None else shop)]
    base = _offer(rig, (), seed, effort, should_stop)
    offers: list[Offer] = []
    for i, item in enumerate(things):
        if should_stop():
            break
        if progress is not None:
            progress(item.name, i, len(things))
        offers.append(_offer(rig, (item,), seed, effort, should_stop))
    if base.score < KEEP_FROM:
        for pair in pairs_worth_trying(offers):
            if should_stop():
                break
            offers.append(_offer(rig, pair, seed, effort, should_stop))
    return _advice(base, offers, frozenset(item.name for item in owned))


def pairs_worth_trying(offers: Sequence[Offer]) -> list[tuple[Item, Item]]:
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
        a, b = first.items[0], second.items[0]
        price = None if a.price is None or b.price is None else a.price + b.price
        if a.kind != b.kind and (limit is None or (price is not None and price < limit)):
            found.append((first.score + second.score, (a, b)))
    found.sort(key=lambda pair: -pair[0])
    return [pair for _, pair in found[:MOST_PAIRS]]


def _offer(
    rig: Rig,
    items: tuple[Item, ...],
    seed: int,
    effort: Effort,
    should_stop: Callable[[], bool],
) -> Offer:
    prices = [item.price for item in items]
    price = None if any(p is None for p in prices) else sum(p for p in prices if p is not None)
    rigs = [rig]
    for item in items:
        rigs = [v for r in rigs for v in variants(r, item)]
    best: Judged | None = None
    reason = "it does not fit into the room"
    for candidate in rigs:
        found = quick_plan(candidate, seed=seed, effort=effort, should_stop=should_stop)
        if isinstance(found, NoPlan):
            reason = found.reason
        elif best is None or found.score > best.score:
            best = found
    if best is None:
        return Offer(items=items, price=price, rig=None, score=0.0, reason=reason)
    return Offer(items=items, price=price, rig=best.rig, score=best.score, reason="")


def _advice(base: Offer, offers: list[Offer], owned: frozenset[str]) -> KitAdvice:
    ranked = tuple(sorted(offers, key=lambda o: -o.score))
    needs_nothing = base.score >= KEEP_FROM
    free = [o for o in ranked if o.score >= KEEP_FROM and o.is_owned(owned)]
    meets = [o for o in ranked if o.score >= KEEP_FROM]
    priced = sorted(meets, key=lambda o: (o.price is None, o.price, -o.score))
    candidates = [base] if needs_nothing else [*free, *priced]
    cheapest = candidates[0] if candidates else None
    return KitAdvice(
        base=base, offers=ranked, cheapest=cheapest,
        needs_nothing=needs_nothing or bool(free),
        sentences=kit_sentences(base, ranked, cheapest, owned, needs_nothing=needs_nothing),
    )  # fmt: skip
