"""Which of two lamps that are alike is which: the one that stands nearer to where it stood."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene.clearance import broken
from lightplan.scene.lamps import Lamp
from lightplan.scene.placement import Placement

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.planning.result import Plan
    from lightplan.scene import Card, Rig


def named_as_given(found: Plan, given: Rig) -> Plan:
    """Return a plan in which things that are alike keep their names by where they stood.

    A search knows no names: it may put the left softbox right and the right one left.
    The light is the same. Things whose freedoms differ or that are locked are left alone.
    """
    now = _new_names(found.rig, given)
    if not now:
        return found

    def name_of(element: str) -> str:
        return now.get(element, element)

    rig = replace(
        found.rig,
        lamps=tuple(replace(lamp, name=name_of(lamp.name)) for lamp in found.rig.lamps),
        cards=tuple(replace(card, name=name_of(card.name)) for card in found.rig.cards),
        freedoms=tuple(replace(f, element=name_of(f.element)) for f in found.rig.freedoms),
    )
    robust = replace(
        found.robustness,
        tolerances=tuple(
            replace(t, element=name_of(t.element)) for t in found.robustness.tolerances
        ),
        critical=tuple((name_of(e), dimension) for e, dimension in found.robustness.critical),
    )
    covered = {name_of(name): share for name, share in found.covered.items()}
    return replace(found, rig=rig, robustness=robust, covered=covered, limits=broken(rig))


def _new_names(planned: Rig, given: Rig) -> Mapping[str, str]:
    """Return the names that change, old to new."""
    before: list[Lamp | Card] = [*given.lamps, *given.cards]
    after: list[Lamp | Card] = [*planned.lamps, *planned.cards]
    old = {thing.name: thing for thing in before}
    both = [thing for thing in after if thing.name in old]
    movable = [thing for thing in both if not thing.locked and not old[thing.name].locked]
    found: dict[str, str] = {}
    key = {thing.name: _kind(old[thing.name], given) for thing in movable}
    for _, group in groupby(sorted(movable, key=lambda t: key[t.name]), lambda t: key[t.name]):
        alike = list(group)
        found |= _nearest(alike, [old[thing.name] for thing in alike])
    return found


def _kind(thing: Lamp | Card, given: Rig) -> str:
    """Return what two things share that only differ by name, place and power setting."""
    plain = replace(thing, name="", placement=Placement(position_mm=(0, 0, 0), aim_mm=(0, 0, 1)))
    if isinstance(plain, Lamp):
        plain = replace(plain, trim_stops=0.0)
    own = (f for f in given.freedoms if f.element == thing.name)
    free = sorted((f.dimension, f.low, f.high) for f in own)
    return repr((plain, free))


def _nearest(alike: list[Lamp | Card], old: list[Lamp | Card]) -> dict[str, str]:
    """Return the names that change so that the ways from the old places are shortest in all."""
    from scipy.optimize import linear_sum_assignment

    here = np.array([thing.placement.position_mm for thing in alike])
    there = np.array([thing.placement.position_mm for thing in old])
    ways = np.linalg.norm(here[:, None] - there[None], axis=-1)
    row, col = linear_sum_assignment(ways)
    return {
        alike[r].name: old[c].name
        for r, c in zip(row.tolist(), col.tolist(), strict=True)
        if alike[r].name != old[c].name
    }
