"""What a rig file says is owned or for sale, as things that planning can bring in."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.planning.cupboard import HOLDERS, Item

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.rigfiles import LoadedRig, Thing
    from lightplan.scene import Rig


def owned_items(loaded: LoadedRig) -> list[Item]:
    """Return what is owned and does not stand in the rig already, one by one."""
    return [
        item_of(thing, owned=True)
        for thing in spare(loaded.owned, loaded.rig)
        for _ in range(thing.count)
    ]


def spare(owned: Sequence[Thing], rig: Rig) -> list[Thing]:
    """Return what is owned and does not stand in the rig already, by kind and size."""
    standing = _standing(rig)
    left = []
    for thing in owned:
        count = thing.count
        size = _size(thing.width_mm, thing.height_mm)
        while count and (thing.kind, size) in standing:
            standing.remove((thing.kind, size))
            count -= 1
        if count:
            left.append(replace(thing, count=count))
    return left


def item_of(thing: Thing, *, owned: bool) -> Item:
    """Return a thing of a rig file as planning knows it."""
    size = f"{thing.width_mm:.0f} x {thing.height_mm:.0f} mm"
    plain = thing.kind if thing.kind in HOLDERS else f"{thing.kind} {size}"
    return Item(
        name=thing.name if thing.name else plain,
        kind=thing.kind,
        width_mm=thing.width_mm,
        height_mm=thing.height_mm,
        price=0.0 if owned else thing.price,
        output=thing.output,
        depth_mm=thing.depth_mm,
        transmittance=thing.transmittance,
        held=thing.held,
    )


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
