"""Arrangements as the trade makes them, in closed form.

For each look there is what the foil shall see, and what lights the paper.

Each is only a start that the search refines; what cannot be built is mended or left out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.planning.arrangements import keys, lamp_beside, pairs, papers, strips
from lightplan.planning.arrangements.stage import Arrangement, Draft, Stage

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from lightplan.planning.arrangements.keys import Key
    from lightplan.scene.look import LookKind

__all__ = ["Arrangement", "Draft", "Stage", "arrangements", "completed", "given_one", "key_lights"]

_RUN: tuple[Key, ...] = (
    keys.board_lit,
    keys.tissue,
    keys.lamp_mirrored,
    pairs.two_boards,
    keys.shells,
    lamp_beside.lamp_beside,
)
_KEYS: Mapping[LookKind, tuple[Key, ...]] = {
    "bright field": _RUN,
    "gradient": _RUN,
    "flat copy": _RUN,
    "bright band": (
        strips.board_strip,
        keys.tissue,
        keys.strip,
        keys.lamp_mirrored,
        keys.board_lit,
        pairs.two_boards,
        keys.black_mirrored,
    ),
    "split": (keys.lamp_mirrored, strips.board_edge, keys.board_lit, pairs.two_boards, keys.tissue),
    "dark field": (keys.black_mirrored,),
    "rainbow": (keys.first_order, keys.lamp_mirrored),
}


def key_lights(stage: Stage) -> Iterator[Draft]:
    """Yield what the foil shall see for the look of a stage's rig: each the start of many."""
    for key in (*_KEYS[stage.rig.look.kind], keys.window_alone):
        try:
            yield from key(stage)
        except RigError:
            continue  # a guess that the parts refuse is no start


def given_one(stage: Stage) -> Iterator[Arrangement]:
    """Yield the rig as it was given, free to be bettered."""
    for draft in keys.as_it_stands(stage):
        yield from _whole(draft)


def completed(draft: Draft) -> list[Arrangement]:
    """Return the arrangements of a key light: with nothing more, then with light on the paper."""
    return [one for lit in papers.lit(draft) for one in _whole(lit)]


def arrangements(stage: Stage) -> Iterator[Arrangement]:
    """Yield all arrangements of the look of a stage's rig."""
    yield from given_one(stage)
    for draft in key_lights(stage):
        yield from completed(draft)


def _whole(draft: Draft) -> Iterator[Arrangement]:
    try:
        found = draft.done()
    except RigError:
        return
    if _is_lit(found):
        yield found


def _is_lit(found: Arrangement) -> bool:
    room = found.rig.room
    return (
        any(lamp.on for lamp in found.rig.lamps)
        or max(room.ambient_cd_m2) > 0
        or room.probe is not None
    )
