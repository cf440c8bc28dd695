"""Kit: what would help, before any money is spent."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from lightplan.planning.fittings import Item
from lightplan.planning.kit import KitAdvice, advise_kit, catalogue
from lightplan.planning.kit_words import Offer
from lightplan.planning.plan import Effort
from lightplan.process import usable_cores
from lightplan.rigfiles import Thing, load_rig
from lightplan.scene import Rig


def kit(
    rig: str,
    *,
    seed: int = 0,
    evaluations: int = 120,
    progress: Callable[[str, int, int], None] | None = None,
    should_stop: Callable[[], bool] = lambda: False,
) -> KitAdvice:
    """Return what would help a rig, by the score that each thing reaches when planned.

    What is owned and what can be bought at which price stands in the rig file; without a
    shop list the usual boards, diffusers, a further lamp, a window, a cone and a tent are
    tried, prices unknown.
    """
    loaded = load_rig(rig)
    effort = Effort(
        evaluations=evaluations, polish=0, builds=32, helpers=max(0, usable_cores() - 1)
    )
    return advise_kit(
        loaded.rig,
        owned=[_item(thing, owned=True) for thing in spare(loaded.owned, loaded.rig)],
        shop=_shop(loaded.rig, loaded.shop),
        seed=seed,
        effort=effort,
        progress=progress,
        should_stop=should_stop,
    )


def spare(owned: Sequence[Thing], rig: Rig) -> list[Thing]:
    """Return what is owned and does not stand in the rig already, by kind and size."""
    standing = _standing(rig)
    left = []
    for thing in owned:
        if thing.held is not None:
            continue  # it holds what gives the light
        count = thing.count
        size = _size(thing.width_mm, thing.height_mm)
        while count and (thing.kind, size) in standing:
            standing.remove((thing.kind, size))
            count -= 1
        if count:
            left.append(thing)
    return left


def _standing(rig: Rig) -> list[tuple[str, tuple[int, int]]]:
    """Return kind and size of all that stands in a rig, as in `[[owned]]`."""
    cards = [
        (
            "diffuser" if card.is_diffuser else f"{card.front.finish} board",
            _size(card.width_mm, card.height_mm),
        )
        for card in rig.cards
    ]
    lamps = [
        ("window" if lamp.is_window else "lamp", _size(lamp.width_mm, lamp.height_mm))
        for lamp in rig.lamps
    ]
    shells = [(shell.shape, _size(shell.foot_width_mm, shell.height_mm)) for shell in rig.shells]
    return [*cards, *lamps, *shells]


def _size(width_mm: float, height_mm: float) -> tuple[int, int]:
    low, high = sorted((round(width_mm), round(height_mm)))
    return low, high


def _shop(rig: Rig, things: tuple[Thing, ...]) -> list[Item]:
    """Return what can be bought: the maker's list, and what it does not name, prices unknown."""
    listed = [_item(thing, owned=False) for thing in things if thing.held is None]
    if listed:
        kinds = {item.kind for item in listed}
        return listed + [item for item in catalogue(rig) if item.kind not in kinds]
    return list(catalogue(rig))


def _item(thing: Thing, *, owned: bool) -> Item:
    size = f"{thing.width_mm:.0f} x {thing.height_mm:.0f} mm"
    return Item(
        name=thing.name if thing.name else f"{thing.kind} {size}",
        kind=thing.kind,
        width_mm=thing.width_mm,
        height_mm=thing.height_mm,
        price=0.0 if owned else thing.price,
        output=thing.output,
    )


def kit_document(found: KitAdvice) -> dict[str, Any]:
    """Return the advice as plain values."""
    return {
        "needs_nothing": found.needs_nothing,
        "cheapest": None if found.cheapest is None else _offer(found.cheapest),
        "base": _offer(found.base),
        "offers": [_offer(offer) for offer in found.offers],
        "sentences": list(found.sentences),
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return {
        "name": offer.name,
        "score": offer.score,
        "price": offer.price,
        "reason": offer.reason,
    }
