"""What is said about things that are owned or for sale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.measures.verdict import KEEP_FROM

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from lightplan.planning.cupboard import Item
    from lightplan.scene import Rig

HELPS_FROM = 2.0
"""Points of score below which a purchase is not said to help. Our choice."""


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
        return " and ".join(item.name for item in self.items) if self.items else "what you own"

    def is_owned(self, owned: frozenset[str]) -> bool:
        """Whether all of it is owned."""
        return all(item.name in owned for item in self.items)


def kit_sentences(
    base: Offer,
    ranked: Sequence[Offer],
    cheapest: Offer | None,
    owned: frozenset[str],
    *,
    needs_nothing: bool,
) -> tuple[str, ...]:
    """Return the advice in plain words: the answer first, then what each thing would give."""
    found = [_answer(base, ranked, cheapest, owned, needs_nothing=needs_nothing)]
    lamps = [o for o in ranked if len(o.items) == 1 and o.items[0].kind == "lamp"]
    if lamps and max(o.score for o in lamps) < base.score + HELPS_FROM:
        found.append("A further lamp does not help: planned with it, the score does not rise.")
    found += _by_kind(base, ranked)
    lines = list(_table(base, ranked, owned))
    if lines:
        found.append(f"What you own, planned: {base.score:.0f} of 100. Planned with")
        found += [f"  {line}" for line in lines]
    found += [
        f"{_capital(offer.name)} cannot be used here: {offer.reason.rstrip('.')}."
        for offer in ranked
        if offer.rig is None
    ]
    return tuple(found)


_ASKED = {"window": "A window", "cone": "A diffusing cone", "tent": "A light tent"}


def _by_kind(base: Offer, ranked: Sequence[Offer]) -> Iterator[str]:
    """Yield a sentence for each kind that everybody asks about."""
    for kind, name in _ASKED.items():
        of_kind = [o for o in ranked if len(o.items) == 1 and o.items[0].kind == kind]
        if not of_kind:
            continue
        best = max(of_kind, key=lambda o: o.score)
        if best.rig is None:
            yield f"{name} is of no use here: {best.reason.rstrip('.')}."
        elif best.score < base.score + HELPS_FROM:
            yield f"{name} does not help."
        else:
            yield f"{name} would help: {best.score:.0f} with it, {base.score:.0f} without."


def _answer(
    base: Offer,
    ranked: Sequence[Offer],
    cheapest: Offer | None,
    owned: frozenset[str],
    *,
    needs_nothing: bool,
) -> str:
    if needs_nothing:
        return f"Nothing needs buying: what you own reaches {base.score:.0f} of 100."
    if cheapest is None:
        best = max((base, *ranked), key=lambda o: o.score)
        return (
            f"Nothing that was tried meets the look ({KEEP_FROM:.0f} of 100); the best is "
            f"{best.name} with {best.score:.0f}."
        )
    gain = f"{cheapest.score:.0f} of 100 instead of {base.score:.0f}"
    if cheapest.is_owned(owned):
        return f"Nothing needs buying: you own {cheapest.name} already; with it, {gain}."
    if cheapest.price is None:
        return f"{_capital(cheapest.name)} meets the look best: {gain} ({_cost(cheapest, owned)})."
    cost = "costs nothing" if cheapest.price == 0 else f"costs {cheapest.price:g}"
    return f"The cheapest that meets the look is {cheapest.name}; it {cost}: {gain}."


def _table(base: Offer, ranked: Sequence[Offer], owned: frozenset[str]) -> Iterator[str]:
    for offer in ranked:
        if offer.rig is None:
            continue
        if offer.score < base.score + HELPS_FROM:
            # it may stay in the cupboard: a score below what is owned would say that it harms
            yield f"{offer.name}: does not help; {_cost(offer, owned)}"
            continue
        gain = round(offer.score) - round(base.score)
        yield f"{offer.name}: {offer.score:.0f}, {gain:+d} points; {_cost(offer, owned)}"


def _cost(offer: Offer, owned: frozenset[str]) -> str:
    if offer.is_owned(owned):
        return "you own it"
    if all(item.kind == "window" for item in offer.items):
        return "if there is one"
    return "price not known" if offer.price is None else f"price {offer.price:g}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
