"""What is usually for sale."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.planning.cupboard import Item
from lightplan.scene import Lamp, Output, Rig

if TYPE_CHECKING:
    from collections.abc import Sequence

FIRST_LAMP = Item(
    name="a LED panel 300 x 200 mm",
    kind="lamp",
    output=Output(value=2000.0),
    width_mm=300,
    height_mm=200,
)
"""For who has no lamp: usual, from memory."""


def catalogue(rig: Rig, owned: Sequence[Item] = ()) -> tuple[Item, ...]:
    """Return what is usually for sale, without prices.

    Boards in common paper sizes (ISO 216: A3, A2, A1), round diffusers, a further lamp
    like the largest in the rig or else owned, a first one for who has none, a window, a cone
    and a tent of twice the sheet.
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
    found.append(_a_lamp(rig, owned))
    shell = max(2.5 * long_side, 250.0)
    found += [
        Item(
            name="a window",
            kind="window",
            width_mm=1000,
            height_mm=1200,
            output=Output(value=2000.0, unit="cd/m2"),
        ),
        Item(name="a diffusing cone", kind="cone", width_mm=shell, height_mm=shell),
        Item(name="a light tent", kind="tent", width_mm=1.5 * shell, height_mm=1.5 * shell),
    ]
    return tuple(found)


def _a_lamp(rig: Rig, owned: Sequence[Item]) -> Item:
    lamps: list[Lamp | Item] = [lamp for lamp in rig.lamps if not lamp.is_window]
    lamps = lamps if lamps else [item for item in owned if item.kind == "lamp"]
    if not lamps:
        return FIRST_LAMP
    largest = max(lamps, key=lambda lamp: lamp.width_mm * lamp.height_mm)
    return Item(
        name=f"another lamp like {largest.name}",
        kind="lamp",
        output=largest.output,
        width_mm=largest.width_mm,
        height_mm=largest.height_mm,
    )
