"""A board of which the foil sees a strip or one edge, and the dark room beside it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.mirror.rays import hit_plane
from lightplan.planning.arrangements.keys import BOARD_HELD, NEAR_MM, lamp_spots, stand_lamp
from lightplan.planning.arrangements.stage import Draft, Stage
from lightplan.scene import Card, Placement
from lightplan.scene.edits import as_vector

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles

BAND_REACH = 0.3
"""Half the width of the strip, as a share of the way from the sheet's middle to its edge."""
STRIP_MM = 400.0
"""How far along the mirrored ray it hangs; a board that is shorter there than what the foil sees of
the band hangs nearer, down to `NEAR_MM`. Our choice."""
STEEPEST = 0.2
"""The least cosine of a board's turn to the ray: steeper it shows as a line, and any hand that
turns it a little doubles it. Our choice."""

LEVEL = 0.05
"""Rise of an edge, over its length, up to which it lies on books. Our choice."""


def board_strip(stage: Stage) -> Iterator[Draft]:
    """Yield a board turned until the foil sees a strip of it along the band, lit by a lamp.

    Boards are wider than a band: what the foil sees is made narrow by turning the board about
    the band's own direction, to the side on which the lamp stands. Where nothing hangs a board, it
    is held near on books, if it leans back there on a level edge.
    """
    hangs = stage.holder("clamp", "boom", "string", "stand")
    held = stage.holder("books") if hangs is None else hangs
    boards = stage.cupboard.boards
    if held is None or not boards:
        return
    for board in dict.fromkeys((boards[0], boards[-1])):
        plane = stage.square(NEAR_MM if hangs is None else _distance(stage, board))
        for lamp in stage.cupboard.lamps[:2]:
            for words, spot in lamp_spots(stage, lamp, board, plane, held):
                place = _turned_to(stage, board, plane, spot)
                if hangs is None and not _leans(place):
                    continue
                draft = Draft(stage)
                draft.say(f"{board.name} as a strip" + (", leaning" if hangs is None else ""))
                draft.say(f"{lamp.name} on it {words}")
                draft.put(board, place, BOARD_HELD, held)
                stand_lamp(draft, lamp, spot, np.asarray(place.position_mm))
                yield draft


def board_edge(stage: Stage) -> Iterator[Draft]:
    """Yield a board whose edge runs through the middle of what the foil sees, lit by a lamp."""
    held = stage.holder("clamp", "boom", "string", "stand")
    if held is None:
        return
    for board in stage.cupboard.boards[:1]:
        place = _beside_middle(stage, board)
        for lamp in stage.cupboard.lamps[:2]:
            for words, spot in lamp_spots(stage, lamp, board, place, held):
                draft = Draft(stage)
                draft.say(f"{board.name} with its edge across the sheet")
                draft.say(f"{lamp.name} on it {words}")
                draft.put(board, place, BOARD_HELD, held)
                stand_lamp(draft, lamp, spot, np.asarray(place.position_mm))
                yield draft


def _beside_middle(stage: Stage, board: Card) -> Placement:
    """Return a board square to the mirrored ray, all of it on the bright side of the middle."""
    plane = stage.square(STRIP_MM)
    middle = np.asarray(plane.position_mm)
    bright = stage.spot(plane, 0.5) - middle
    bright /= max(float(np.linalg.norm(bright)), 1e-9)
    along = np.cross(bright, stage.ray)
    at = middle + 0.5 * min(board.width_mm, board.height_mm) * bright
    facing = Placement(as_vector(at), as_vector(at - STRIP_MM * stage.ray))
    return replace(facing, roll_rad=_roll(board, facing, along))


def _distance(stage: Stage, board: Card) -> float:
    """Return how far along the ray a board is as long as what the foil sees of a band."""
    plane = stage.square(STRIP_MM)
    turn = stage.rig.look.direction_rad
    sheet = stage.rig.sheet
    half = 0.5 * min(
        sheet.width_mm / max(abs(math.cos(turn)), 1e-6),
        sheet.height_mm / max(abs(math.sin(turn)), 1e-6),
    )
    ends = half * np.array([[-1.0], [1.0]]) * np.array([math.cos(turn), math.sin(turn)])
    hits, _ = hit_plane(stage.looks(ends), plane)
    if not np.isfinite(hits).all():
        return NEAR_MM
    length = float(np.linalg.norm(hits[1] - hits[0]))
    longer = max(board.width_mm, board.height_mm) / max(length, 1e-6)
    return max(NEAR_MM, STRIP_MM * min(longer, 1.0))


def _turned_to(stage: Stage, board: Card, plane: Placement, lamp_at: Doubles) -> Placement:
    """Return a board in the mirrored ray, its long side along the band, facing a lamp's side."""
    middle = np.asarray(plane.position_mm)
    ends = stage.spot(plane, BAND_REACH) - stage.spot(plane, -BAND_REACH)
    across = ends / max(float(np.linalg.norm(ends)), 1e-9)
    across *= 1.0 if float((lamp_at - middle) @ across) >= 0 else -1.0
    narrow = min(board.width_mm, board.height_mm)
    cosine = min(max(float(np.linalg.norm(ends)) / narrow, STEEPEST), 1.0)
    normal = -cosine * stage.ray + math.sqrt(1.0 - cosine * cosine) * across
    place = Placement(as_vector(middle), as_vector(middle + STRIP_MM * normal))
    return replace(place, roll_rad=_roll(board, place, np.cross(across, stage.ray)))


def _leans(place: Placement) -> bool:
    """Whether a board so turned stays on books: it leans back, on an edge that is level."""
    right, up, normal = place.axes()
    return bool(normal[2] >= 0.0 and min(abs(right[2]), abs(up[2])) <= LEVEL)


def _roll(board: Card, place: Placement, along: Doubles) -> float:
    """Return the roll that lays a board's long side along a direction (3,).

    Either way round a board looks the same: the lesser turn is easier to say and to do.
    """
    right, up, _ = place.axes()
    turn = math.atan2(float(along @ up), float(along @ right))
    if board.height_mm > board.width_mm:
        turn -= 0.5 * math.pi
    return (turn + 0.5 * math.pi) % math.pi - 0.5 * math.pi
