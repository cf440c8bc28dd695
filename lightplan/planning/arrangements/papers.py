"""What lights the paper, outside the family of angles: nothing more, a lamp, a lamp and a board."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.planning.arrangements.keys import SIDES
from lightplan.scene import Card, Lamp, Placement
from lightplan.scene.edits import as_vector

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.planning.arrangements.stage import Draft, Stage

AWAY_MM = 750.0
STEEP_RAD = 0.75
"""How far a lamp on the paper stands from it, and how high: out of what a foil mirrors to a
camera that leans by less than 45 degrees. Common practice, no source."""
_LAMP = {"x_mm": 300.0, "y_mm": 300.0, "z_mm": 250.0}
_FILL = {"x_mm": 160.0, "y_mm": 160.0}


def lit(draft: Draft) -> Iterator[Draft]:
    """Yield a draft as it is, with a lamp on the paper, with two, and with a board as fill."""
    yield draft
    used = draft.names()
    lamps = [lamp for lamp in draft.stage.cupboard.lamps if lamp.name not in used]
    for sign, word in SIDES if lamps else ():
        one = draft.copy()
        _lamp(one, lamps[0], sign, word)
        yield one
    if len(lamps) > 1:
        both = draft.copy()
        # whichever stands farther left stays there: nobody carries two stands past each other
        pair = sorted(lamps[:2], key=lambda lamp: _rightward(draft.stage, lamp))
        for lamp, (sign, word) in zip(pair, SIDES, strict=True):
            _lamp(both, lamp, sign, word)
        yield both
    yield from _filled(draft)


def _rightward(stage: Stage, lamp: Lamp) -> float:
    return float(np.asarray(lamp.placement.position_mm) @ stage.side)


def _filled(draft: Draft) -> Iterator[Draft]:
    used = draft.names()
    boards = [card for card in draft.stage.cupboard.boards if card.name not in used]
    for sign, word in SIDES if boards else ():
        filled = draft.copy()
        _fill(filled, boards[-1], sign, word)
        yield filled


def _lamp(draft: Draft, lamp: Lamp, sign: float, word: str) -> None:
    stage = draft.stage
    out = sign * stage.side * math.cos(STEEP_RAD) + np.array([0.0, 0.0, math.sin(STEEP_RAD)])
    draft.say(f"{lamp.name} on the paper from the {word}")
    draft.put(
        lamp, Placement(as_vector(AWAY_MM * out), (0.0, 0.0, 0.0)), _LAMP, stage.stand_of(lamp)
    )


def _fill(draft: Draft, board: Card, sign: float, word: str) -> None:
    stage = draft.stage
    half = 0.5 * stage.rig.sheet.width_mm + 140.0
    middle = sign * half * stage.side + np.array([0.0, 0.0, board.height_mm / 2])
    aim = np.array([0.0, 0.0, 0.3 * board.height_mm])
    draft.say(f"{board.name} as fill at the {word}")
    draft.put(board, Placement(as_vector(middle), as_vector(aim)), _FILL, stage.holder("table"))
