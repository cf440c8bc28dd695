"""What to buy, if anything: each offer is planned as well as it can be, and compared."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from lightplan.measures.score import KEEP_FROM
from lightplan.planning.effort import Effort
from lightplan.planning.fittings import Item, variants
from lightplan.planning.merit import Judged
from lightplan.planning.plan import quick_plan
from lightplan.planning.result import NoPlan
from lightplan.scene import Output, Rig

HELPS_FROM = 2.0
"""Points of score below which a purchase is not said to help. Our choice."""


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
        Item(name="a window", kind="window", width_mm=1000, height_mm=1200, price=0.0,
             output=Output(value=2000.0, unit="cd/m2")),
        Item(name="a diffusing cone", kind="cone", width_mm=shell, height_mm=shell),
        Item(name="a light tent", kind="tent", width_mm=1.5 * shell, height_mm=1.5 * shell),
    ]  # fmt: skip
    return tuple(found)


@dataclass(frozen=True, kw_only=True, eq=False)
class Offer:
    """What one set of items reaches when it is planned.

    Parameters
    ----------
    items : tuple of Item
        Beyond the rig; empty for the rig itself.
    price : float or None
        Of all; None when one of them is not known.
    rig : Rig or None
        The best that was found, to plan in full; None when the items do not fit.
    score : float
        0 to 100, good to a few points; 0 without a rig.
    reason : str
        Why there is no rig; "" otherwise.
    """

    items: tuple[Item, ...]
    price: float | None
    rig: Rig | None
    score: float
    reason: str

    @property
    def name(self) -> str:
        """The items in words."""
        return " and ".join(item.name for item in self.items) if self.items else "what is set up"


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
    shop, and, where none of them meets the look, the best two of different kinds together.

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
    best_single = max((o.score for o in (base, *offers)), default=0.0)
    if best_single < KEEP_FROM and not should_stop():
        pair = _best_pair(offers)
        if pair is not None:
            offers.append(_offer(rig, pair, seed, effort, should_stop))
    return _advice(base, offers, frozenset(item.name for item in owned))


def _best_pair(offers: list[Offer]) -> tuple[Item, ...] | None:
    ranked = sorted((o for o in offers if o.rig is not None), key=lambda o: -o.score)
    for other in ranked[1:]:
        if other.items[0].kind != ranked[0].items[0].kind:
            return (ranked[0].items[0], other.items[0])
    return None


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
    free = [o for o in ranked if o.score >= KEEP_FROM and _is_owned(o, owned)]
    meets = [o for o in ranked if o.score >= KEEP_FROM]
    priced = sorted(meets, key=lambda o: (o.price is None, o.price, -o.score))
    candidates = [base] if needs_nothing else [*free, *priced]
    cheapest = candidates[0] if candidates else None
    return KitAdvice(
        base=base, offers=ranked, cheapest=cheapest,
        needs_nothing=needs_nothing or bool(free),
        sentences=_sentences(base, ranked, cheapest, owned, needs_nothing=needs_nothing),
    )  # fmt: skip


def _is_owned(offer: Offer, owned: frozenset[str]) -> bool:
    return all(item.name in owned for item in offer.items)


def _sentences(
    base: Offer,
    ranked: tuple[Offer, ...],
    cheapest: Offer | None,
    owned: frozenset[str],
    *,
    needs_nothing: bool,
) -> tuple[str, ...]:
    found = []
    if needs_nothing:
        found.append(f"nothing needs buying: what is set up reaches {base.score:.0f} of 100")
    elif cheapest is None:
        best = ranked[0] if ranked else base
        found.append(
            f"nothing that was tried meets the look; the best is {best.name} "
            f"with {best.score:.0f} of 100"
        )
    elif _is_owned(cheapest, owned):
        found.append(
            f"you own {cheapest.name} already: "
            f"with it the look is met ({cheapest.score:.0f} of 100)"
        )
    else:
        cost = "" if cheapest.price is None else f" for {cheapest.price:g}"
        found.append(
            f"the cheapest that meets the look is {cheapest.name}{cost}: "
            f"{cheapest.score:.0f} of 100 instead of {base.score:.0f}"
        )
    lamps = [o for o in ranked if len(o.items) == 1 and o.items[0].kind == "lamp"]
    if lamps and max(o.score for o in lamps) < base.score + HELPS_FROM:
        found.append("a further lamp does not help: planned with it, the score does not rise")
    for offer in ranked:
        if offer.rig is None:
            found.append(f"{offer.name} cannot be used here: {offer.reason}")
    return tuple(found)
