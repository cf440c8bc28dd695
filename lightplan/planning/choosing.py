"""The choice among arrangements: all are looked at once, the best few are searched."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import screening_detail
from lightplan.planning.arrangements import (
    Arrangement,
    Stage,
    arrangements,
    completed,
    given_one,
    key_lights,
)
from lightplan.planning.poses import moved, poses
from lightplan.scene import Placement, Rig
from lightplan.scene.edits import Add, edited

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.judging_pool import Judges

SIMPLER_PER_THING = 0.004
"""Share of the score that a thing less on the table is worth. Our choice."""
POSED, POSED_QUICKLY = 10, 3
"""Arrangements that are tried from the other places of the camera: the best from the first."""
WINDOW_PLACES = ((-1000.0, 0.0, 600.0), (1000.0, 0.0, 600.0), (0.0, 1200.0, 700.0))
"""Left, right and beyond, a metre away, the sill at the table. Common practice, no source."""
PROMISING = 1.5
"""Above the best by one look, up to which a kind is searched before another of a better kind. Of
the products of `tests/benchmarks/cupboards.py` what won in the end lay 0.8 above at the most."""
LEAST_SHARE = 1e-3
"""Of 100 points, below which all is as bad."""
KEYS, KEYS_QUICKLY = 6, 3
"""Key lights that are tried with all that may light the paper."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Arranged:
    """An arrangement that can be built, with fitting powers, and what it is worth.

    Parameters
    ----------
    name : str
        What it is, in words.
    rig : Rig
        Moved so that it keeps all limits; with freedoms.
    bare : float
        As the search has it; smaller is better.
    things : int
        How many things are brought in.
    is_buildable : bool
        Whether it keeps all limits.
    """

    name: str
    rig: Rig
    bare: float
    things: int = 0
    is_buildable: bool = True

    @property
    def value(self) -> float:
        """As the search has it, with a little for each thing."""
        return self.bare + SIMPLER_PER_THING * self.things


def candidates(
    judges: Judges,
    cupboard: Cupboard,
    *,
    quick: bool = False,
    using: frozenset[str] = frozenset(),
    should_stop: Callable[[], bool] = lambda: False,
) -> list[Arranged]:
    """Return what can be built of a cupboard for the look of its rig, best first.

    What the foil sees is looked at first, each with one light on the paper; the best of these
    with all that may light the paper; the best of all from the other places of the camera.

    Parameters
    ----------
    judges : Judges
        Of any rig of the sheet.
    quick : bool
        Go on with fewer.
    using : frozenset of str
        Things of which all are wanted in it.
    should_stop : callable
        Asked once something can be built, between the looks: True ends them.
    """
    found: list[Arranged] = []
    posed, keys = (POSED_QUICKLY, KEYS_QUICKLY) if quick else (POSED, KEYS)
    for number, pose in enumerate(poses(cupboard.given)):
        for base in _bases(cupboard, quick=quick, using=using):
            if found and should_stop():
                break
            stage = Stage(cupboard, moved(base, pose))
            if number and found:
                known = {c.name for c in sorted(found, key=_value)[:posed]}
                again = [a for a in arrangements(stage) if a.name in known and _uses(a, using)]
                found += screened(judges, again)
                continue
            found += screened(judges, [a for a in given_one(stage) if _uses(a, using)])
            if not (found and should_stop()):
                found += _from(judges, stage, keys, using, should_stop)
    return sorted(found, key=_value)


def _uses(found: Arrangement, using: frozenset[str]) -> bool:
    return using <= set(found.rig.element_names())


def _bases(cupboard: Cupboard, *, quick: bool, using: frozenset[str]) -> Iterator[Rig]:
    """Yield the rig that all is brought into: as it is, and turned towards a window.

    A window that is owned is somewhere; the table is set so that it is at the left, at the
    right or beyond.
    """
    needs_window = any(window.name in using for window in cupboard.windows)
    if not needs_window:
        yield cupboard.base
    for window in cupboard.windows[:1]:
        for place in WINDOW_PLACES[: 2 if quick else None]:
            stands = Placement(place, (0.0, 0.0, place[2]))
            yield edited(cupboard.base, Add(replace(window, placement=stands)))


def _from(
    judges: Judges, stage: Stage, keys: int, using: frozenset[str], should_stop: Callable[[], bool]
) -> list[Arranged]:
    """Return what can be built for one place of the camera, the best key lights completed."""
    made = [[a for a in completed(draft) if _uses(a, using)] for draft in key_lights(stage)]
    whole = [one for one in made if one]
    firsts = [one[min(1, len(one) - 1)] for one in whole]
    answers = _screened(judges, firsts)
    found = [c for c in answers if c.is_buildable]
    if found and should_stop():
        return found
    order = sorted(range(len(whole)), key=lambda i: answers[i].value)[:keys]
    rest = [a for i in order for a in whole[i] if a is not firsts[i]]
    return found + screened(judges, rest)


def _value(candidate: Arranged) -> float:
    return candidate.value


def screened(judges: Judges, all_of_it: Sequence[Arrangement]) -> list[Arranged]:
    """Return those arrangements that can be built, each under one light."""
    return [one for one in _screened(judges, all_of_it) if one.is_buildable]


def _screened(judges: Judges, all_of_it: Sequence[Arrangement]) -> list[Arranged]:
    detail = screening_detail(judges.rig, judges.detail)
    answers = judges.shared("screened", [(a.rig, detail) for a in all_of_it])
    return [
        Arranged(
            name=a.name,
            rig=a.rig if rig is None else rig,
            bare=value,
            things=a.things,
            is_buildable=rig is not None,
        )
        for a, (value, rig) in zip(all_of_it, answers, strict=True)
    ]


def varied(found: Sequence[Arranged], count: int, *, of_a_kind: int = 1) -> list[Arranged]:
    """Return the best of each kind, by what the foil sees, then the next of each.

    Those of one kind differ in more than the camera's place. One look tells little of what a
    kind can be: a V that was the last of six by it was the best once searched.
    """
    kinds: dict[str, dict[str, Arranged]] = {}
    seen: set[tuple[int, float]] = set()
    for candidate in found:
        light = len(candidate.rig.element_names()), round(candidate.bare, 6)
        if light in seen:  # the same with another of two lamps that are alike
            continue
        seen.add(light)
        kinds.setdefault(_kind(candidate), {}).setdefault(candidate.name, candidate)
    near = found[0].value + PROMISING if found else 0.0
    turns = zip_longest(*(list(kind.values())[:of_a_kind] for kind in kinds.values()))
    order = [one for turn in turns for one in turn if one is not None]
    return sorted(order, key=lambda one: one.value > near)[:count]


def _kind(candidate: Arranged) -> str:
    """Return what the foil sees: what is said first, whatever stands in the names of things.

    Boards of a shop's sizes have a comma in theirs: a V and two boards side by side of such were
    one kind, and one of them was never searched.
    """
    words = candidate.name
    for name in candidate.rig.element_names():
        words = words.replace(name, name.replace(",", ""))
    return words.split(",")[0]


def share_of(value: float) -> float:
    """Return the share of 100 points that a search's value stands for."""
    return math.exp(-max(value, 0.0))


def value_of(share: float) -> float:
    """Return the value of a search that stands for a share of 100 points.

    >>> round(share_of(value_of(0.83)), 9)
    0.83
    """
    return -math.log(min(max(share, LEAST_SHARE), 1.0))
