"""How far an arrangement may go: its things far from where they were put, then each a little.

Where things stand decides which basin a search ends in, and how they are turned follows. So the
first search of an arrangement moves places alone, widely; the last moves and turns everything
about where that ended.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.planning.arrangements.stage import allowed_heights
from lightplan.scene import Card, Lamp
from lightplan.scene.dimensions import element_of, value_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.scene import Freedom, Rig

ROAMS_MM = 220.0
"""How far a thing may go either way at first. Tissue that could go 100 mm and its lamp 200 ended
7 points below the same two with this much (a split on white, `tests/benchmarks/cupboards.py`)."""
_PLACES = ("x_mm", "y_mm", "z_mm")


def roaming(arranged: Rig, narrowed: Mapping[tuple[str, str], tuple[float, float]]) -> Rig:
    """Return an arrangement whose things may go far and keep their aims.

    Parameters
    ----------
    arranged : Rig
        With the freedoms of its arrangement.
    narrowed : mapping of (element, dimension) to (low, high)
        What the maker allows; left as it is.
    """
    found = []
    for freedom in arranged.freedoms:
        key = freedom.element, freedom.dimension
        if key in narrowed or freedom.dimension == "trim_stops":
            found.append(freedom)
        elif freedom.dimension in _PLACES:
            span = max(ROAMS_MM, 0.5 * (freedom.high - freedom.low))
            found += _about(arranged, freedom, span)
    return replace(arranged, freedoms=tuple(found))


def settled(
    arranged: Rig, stands: Rig, narrowed: Mapping[tuple[str, str], tuple[float, float]]
) -> Rig:
    """Return a rig where it stands, free to move and turn a little as it was arranged to.

    Parameters
    ----------
    arranged : Rig
        Of which the freedoms are taken.
    stands : Rig
        The same things where a search has put them.
    """
    found = []
    for freedom in arranged.freedoms:
        key = freedom.element, freedom.dimension
        if key in narrowed or freedom.dimension == "trim_stops":
            found.append(freedom)
        else:
            found += _about(stands, freedom, 0.5 * (freedom.high - freedom.low))
    return replace(stands, freedoms=tuple(found))


def _about(rig: Rig, freedom: Freedom, span: float) -> list[Freedom]:
    """Return a freedom so far either way of where a thing stands, if what holds it leaves any."""
    value = value_of(rig, freedom.element, freedom.dimension)
    low, high = value - span, value + span
    thing = element_of(rig, freedom.element)
    if freedom.dimension == "z_mm" and isinstance(thing, Lamp | Card):
        lowest, highest = allowed_heights(rig, thing.held)
        low, high = min(max(low, lowest), value), max(min(high, highest), value)
    return [replace(freedom, low=low, high=high)] if low < high else []
