"""Two boards that the foil sees side by side: a V behind the sheet, or hung over it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.planning.arrangements.keys import (
    BESIDE_MM,
    BOARD_HELD,
    CLOSE_LOW_MM,
    NEAR_MM,
    SIDES,
    is_lit_anyway,
    stand_lamp,
)
from lightplan.planning.arrangements.stage import Draft, Stage
from lightplan.scene import Placement
from lightplan.scene.edits import as_vector

if TYPE_CHECKING:
    from collections.abc import Iterator


def two_boards(stage: Stage) -> Iterator[Draft]:
    """Yield two boards as a V behind the sheet or over it, one lit more than the other."""
    boards = stage.cupboard.boards
    if len(boards) < 2 or not (stage.cupboard.lamps or is_lit_anyway(stage)):
        return
    yield from _standing_v(stage)
    yield from _hung_v(stage)


def _hung_v(stage: Stage) -> Iterator[Draft]:
    """Yield two boards side by side square to the mirrored ray, a lamp from close below on one.

    A camera that looks down steeply mirrors what is over the sheet, where no board can stand.
    """
    held = stage.holder("clamp", "boom", "string", "stand", at_least=2)
    if held is None or not stage.cupboard.lamps:
        return
    first, second = stage.cupboard.boards[:2]
    lamp, plane = stage.cupboard.lamps[0], stage.square(NEAR_MM + 80.0)
    for sign, word in SIDES:
        draft = Draft(stage)
        draft.say(f"{first.name} and {second.name} side by side over the sheet")
        for board, at in ((first, sign), (second, -sign)):
            middle = np.asarray(plane.position_mm) + at * 0.45 * board.width_mm * stage.side
            draft.put(board, Placement(as_vector(middle), (0.0, 0.0, 0.0)), BOARD_HELD, held)
        draft.say(f"{lamp.name} on one from the {word}")
        place = sign * BESIDE_MM * stage.side - 60.0 * stage.away
        place[2] = max(CLOSE_LOW_MM, 0.5 * lamp.height_mm + 20.0)
        lit = np.asarray(plane.position_mm) + sign * 0.45 * first.width_mm * stage.side
        stand_lamp(draft, lamp, place, lit)
        yield draft


def _standing_v(stage: Stage) -> Iterator[Draft]:
    boards = stage.cupboard.boards
    first, second = boards[:2]
    distance = stage.clear_mm + 60.0
    for sign, word in SIDES:
        draft = Draft(stage)
        draft.say(f"{first.name} and {second.name} as a V")
        corners = ((first, sign), (second, -sign))
        for board, at in corners:
            out = at * 0.35 * board.width_mm * stage.side
            middle = distance * stage.away + out + np.array([0, 0, board.height_mm / 2])
            ahead = middle - 100.0 * stage.away - at * 60.0 * stage.side
            draft.put(
                board,
                Placement(as_vector(middle), as_vector(ahead)),
                {"x_mm": 120.0, "y_mm": 140.0, "aim_x_mm": 60.0},
                stage.holder("table"),
            )
        if stage.cupboard.lamps:
            lamp = stage.cupboard.lamps[0]
            aim = distance * stage.away + sign * 0.35 * first.width_mm * stage.side
            aim = aim + np.array([0, 0, 0.5 * first.height_mm])
            draft.say(f"{lamp.name} at the {_other(word)}")
            place = -sign * (BESIDE_MM + 100.0) * stage.side + np.array([0.0, 0.0, 380.0])
            stand_lamp(draft, lamp, place, aim)
        yield draft


def _other(word: str) -> str:
    return "right" if word == "left" else "left"
