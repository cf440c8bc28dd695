"""Cautions that apply to a rig: only these, and never a clearance, a fuse or a limit.

Common practice of the trade, no source. They defer to the lamp's maker, to local codes and
to licensed trades.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.scene import Card, Lamp, Rig

if TYPE_CHECKING:
    from collections.abc import Sequence

OVERHEAD_MM = 150.0  # lower than this, a thing that falls does not fall on anybody
BESIDE_SHEET_MM = 100.0  # where hands work
HIGH_MM = 1100.0  # above a sheet on a table: beyond what one reaches with both hands


def cautions_for(*rigs: Rig) -> tuple[str, ...]:
    """Return the cautions that apply to a rig, or to any of several, one or two sentences each.

    Examples
    --------
    >>> from lightplan.scene import Camera, Placement, Sheet
    >>> bare = Rig(title="bare", sheet=Sheet(width_mm=90, height_mm=50),
    ...            camera=Camera(placement=Placement((0, -300, 400))))
    >>> [text.split(":")[0] for text in cautions_for(bare)]
    ['Foil is a mirror']
    """
    lamps = [lamp for rig in rigs for lamp in rig.lamps if not lamp.is_window]
    flashes = [lamp for lamp in lamps if lamp.output.unit == "guide number"]
    steady = [lamp for lamp in lamps if lamp.output.unit != "guide number"]
    found: list[str] = []
    if steady:
        found.append(_hot_lamps(rigs))
    if lamps:
        found.append(
            "Leads: tape them down, use earthed equipment, do not overload an extension. "
            "Anything on the fixed wiring is for a licensed electrician."
        )
    if flashes:
        found.append(
            "Flash heads store energy, also when they are unplugged: never open them. "
            "Their modelling lamps get hot: keep cloth and paper off them, and switch them off "
            "when you do not need them. "
            "Flashing light can affect photosensitive people: ask before you start."
        )
    if lamps or any(rig.cards or rig.shells or _has_overhead(rig) for rig in rigs):
        found.append(_stands(rigs))
    if any(map(_has_high, rigs)):
        found.append(
            "What hangs high: put it up from a ladder made for that, on firm ground and with "
            "somebody beside you, never from a chair, and with nobody below."
        )
    if any(lamp.is_window for rig in rigs for lamp in rig.lamps):
        found.append(
            "Window glass: lean nothing against the pane and stick nothing dark on it, for a pane "
            "that is heated unevenly can crack; do not reach or climb out to place anything."
        )
    found.append(_mirror(rigs))
    if lamps:
        found.append(
            "The instructions of the lamp's maker and the local electrical and fire codes "
            "decide, not this sheet."
        )
    return tuple(found)


def _hot_lamps(rigs: Sequence[Rig]) -> str:
    near = ["the sheet"]
    cards = [card for rig in rigs for card in rig.cards]
    shapes = {shell.shape for rig in rigs for shell in rig.shells}
    if cards:
        near.append("cards")
    if any(card.is_diffuser for card in cards):
        near.append("diffusing paper")
    if shapes:
        near.append("the " + " and the ".join(sorted(shapes)))
    things = near[0] if len(near) == 1 else ", ".join(near[:-1]) + " and " + near[-1]
    return (
        f"Lamps that get hot: keep {things} away from them, as far as the lamp's maker says; "
        "never leave them alone, let them cool before you move them. LED lamps are the better "
        "choice."
    )


def _stands(rigs: Sequence[Rig]) -> str:
    text = "Stands: weight their feet."
    if any(map(_has_overhead, rigs)):
        text += " Counterbalance a boom, and tether whatever hangs over the table, the camera too."
    return text


def _has_overhead(rig: Rig) -> bool:
    """Whether a lamp, card or camera hangs over the place where the sheet lies."""
    reach = (rig.sheet.width_mm / 2 + BESIDE_SHEET_MM, rig.sheet.height_mm / 2 + BESIDE_SHEET_MM)
    things: list[Lamp | Card] = [*rig.lamps, *rig.cards]
    places = [(thing.placement, thing.width_mm, thing.height_mm) for thing in things]
    places.append((rig.camera.placement, 0.0, 0.0))
    for place, width, height in places:
        right, up, _ = place.axes()
        x, y, z = place.position_mm
        half_x = (abs(right[0]) * width + abs(up[0]) * height) / 2
        half_y = (abs(right[1]) * width + abs(up[1]) * height) / 2
        if z > OVERHEAD_MM and abs(x) - half_x < reach[0] and abs(y) - half_y < reach[1]:
            return True
    return False


def _has_high(rig: Rig) -> bool:
    """Whether anything is put where nobody reaches it from the floor."""
    things: list[Lamp | Card] = [*rig.lamps, *rig.cards]
    places = [t.placement for t in things if not (isinstance(t, Lamp) and t.is_window)]
    return any(p.position_mm[2] > HIGH_MM for p in (*places, rig.camera.placement))


def _mirror(rigs: Sequence[Rig]) -> str:
    text = "Foil is a mirror: no laser pointers on it, and do not stare into bright reflections."
    windows = any(lamp.is_window for rig in rigs for lamp in rig.lamps)
    if windows or any(rig.room.probe is not None for rig in rigs):
        text += " Keep it out of direct sun: a curved sheet can focus sunlight."
    return text
