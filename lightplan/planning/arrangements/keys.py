"""What the foil shall see: boards, softboxes, tissue and black where the sheet mirrors them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.planning.arrangements.stage import Draft, Stage
from lightplan.scene import Card, Held, Lamp, Placement
from lightplan.scene.edits import as_vector

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

Key: TypeAlias = Callable[[Stage], Iterator[Draft]]
NEAR_MM, FAR_MM = 250.0, 900.0
"""How near and far along the mirrored ray a card or softbox is tried."""
BEHIND_TISSUE_MM = (120.0, 280.0)
"""A lamp so far behind tissue makes a hot middle that falls off: nearer runs steeper."""
BESIDE_MM = 420.0
CLOSE_LOW_MM = 170.0
"""How high a lamp stands that lights a board from close below: its spot there falls off soon."""
BOARD_LEANS_MM = 120.0
SIDES = ((-1.0, "left"), (1.0, "right"))
AS_IT_STANDS = "as it stands"
"""What the maker's own arrangement is called."""

_BOARD_STANDING = {"x_mm": 160.0, "y_mm": 160.0, "aim_z_mm": BOARD_LEANS_MM / 4}
BOARD_HELD = {"x_mm": 140.0, "y_mm": 140.0, "z_mm": 140.0, "aim_y_mm": 100.0, "aim_z_mm": 100.0}
_LYING = {"y_mm": 140.0, "z_mm": 120.0}
ACROSS_MM = 260.0
"""How high a board lies across two stacks of books, to begin with: room for a lamp below it,
and books that a household has. Our choice."""
FAR_BELOW_MM = 5000.0
"""What lies level aims there, so that it stays level wherever it is moved. Sideways it is not:
which way its sides lie follows from where it leans, and the least lean aslant would turn it."""
_LAMP_AT_BOARD = {"x_mm": 260.0, "y_mm": 260.0, "z_mm": 220.0, "aim_x_mm": 200.0, "aim_z_mm": 200.0}
LAMP_MIRRORED = {"x_mm": 220.0, "y_mm": 220.0, "z_mm": 200.0}
_TISSUE = {"x_mm": 100.0, "y_mm": 120.0, "z_mm": 100.0}
_ANY_WAY = {"x_mm": 120.0, "y_mm": 120.0, "z_mm": 120.0, "aim_y_mm": 80.0, "aim_z_mm": 80.0}
_BEHIND = {"x_mm": 220.0, "y_mm": 180.0, "z_mm": 220.0}


def board_lit(stage: Stage) -> Iterator[Draft]:
    """Yield a white board in the mirror's view, lit by an aimed lamp or by what light there is."""
    for board in stage.cupboard.boards[:1]:
        for words, place, held, spans in _board_places(stage, board):
            turned = _turned(stage, board, place)
            bright = stage.spot(place, _bright_share(stage))
            if is_lit_anyway(stage):
                draft = Draft(stage)
                draft.say(f"{board.name} {words}")
                draft.put(turned, place, spans, held)
                yield draft
            for lamp in stage.cupboard.lamps[:2]:
                yield from _lamps_at(stage, lamp, turned, place, bright, words, held, spans)


def lamp_mirrored(stage: Stage) -> Iterator[Draft]:
    """Yield a softbox in the mirror's view itself, whole and shifted so that its edge runs."""
    for lamp in stage.cupboard.lamps[:2]:
        size = min(lamp.width_mm, lamp.height_mm)
        for distance in (NEAR_MM + 0.6 * size, FAR_MM * 0.75):
            plane = stage.square(distance)
            for share in (0.0, 1.2):
                middle = np.asarray(plane.position_mm)
                shift = stage.spot(plane, share) - middle
                if share:
                    shift = shift / max(float(np.linalg.norm(shift)), 1e-6) * 0.5 * size
                draft = Draft(stage)
                draft.say(
                    f"{lamp.name} mirrored" + (", its edge across the sheet" if share else "")
                )
                place = Placement(as_vector(middle + shift), as_vector(shift))
                draft.put(lamp, place, LAMP_MIRRORED, stage.stand_of(lamp))
                yield draft


def mirror_black(draft: Draft, black: Card) -> None:
    """Put black where the foil sees it first of the places that a board can have."""
    for words, place, held, spans in list(_board_places(draft.stage, black))[:1]:
        draft.say(f"{black.name} mirrored")
        draft.put(_turned(draft.stage, black, place), place, spans, held)
        draft.say(words)


def tissue(stage: Stage) -> Iterator[Draft]:
    """Yield tissue in the mirror's view with a lamp close behind: its fall-off is the run."""
    held = stage.holder("string", "clamp", "boom", "table")
    for sheet in stage.cupboard.diffusers[:1]:
        for lamp in _small_first(stage.cupboard.lamps)[:2]:
            size = max(sheet.width_mm, sheet.height_mm)
            plane = stage.square(_farthest_filled(stage, sheet, least=0.55 * size))
            for behind in BEHIND_TISSUE_MM:
                for share in _hot_spots(stage):
                    hot = stage.spot(plane, share)
                    draft = Draft(stage)
                    draft.say(f"{sheet.name} mirrored, {lamp.name} {behind:.0f} mm behind it")
                    draft.put(sheet, plane, _TISSUE, held)
                    place = Placement(as_vector(hot + behind * stage.ray), as_vector(hot))
                    draft.put(lamp, place, _BEHIND, stage.stand_of(lamp))
                    yield draft


def strip(stage: Stage) -> Iterator[Draft]:
    """Yield the narrowest lamp or board across the mirror's view, with the dark beside it."""
    lamps = sorted(stage.cupboard.lamps, key=lambda x: min(x.width_mm, x.height_mm))
    for lamp in lamps[:1]:
        for distance in (350.0, 600.0):
            plane = stage.square(distance)
            draft = Draft(stage)
            draft.say(f"{lamp.name} mirrored as a band")
            along = _along_band(stage, lamp)
            place = replace(plane, roll_rad=along)
            draft.put(lamp, place, LAMP_MIRRORED, stage.stand_of(lamp))
            yield draft


def black_mirrored(stage: Stage) -> Iterator[Draft]:
    """Yield black in the mirror's view, or the dark room, and bright cards beside it."""
    blacks: tuple[Card | None, ...] = (*stage.cupboard.blacks[:1], None)
    for black in blacks:
        for count in (0, 1, 2):
            if count > len(stage.cupboard.boards):
                continue
            draft = Draft(stage)
            if black is None:
                draft.say("the dark room mirrored")
            else:
                mirror_black(draft, black)
            for board, (sign, word) in zip(stage.cupboard.boards[:count], SIDES, strict=False):
                out = sign * (0.5 * board.width_mm + 150.0)
                middle = 220.0 * stage.away + out * stage.side
                middle[2] = board.height_mm / 2
                draft.say(f"{board.name} at the {word}")
                draft.put(
                    board,
                    Placement(as_vector(middle), (0.0, 0.0, board.height_mm / 2)),
                    {"x_mm": 160.0, "y_mm": 180.0},
                    stage.holder("table"),
                )
            yield draft


def first_order(stage: Stage) -> Iterator[Draft]:
    """Yield a small lamp off the mirror's direction, where a grating sends its first order."""
    for lamp in _small_first(stage.cupboard.lamps)[:2]:
        for side in (1.0, -1.0):
            direction = off_mirror(stage, side)
            for distance in (500.0, 900.0):
                draft = Draft(stage)
                draft.say(f"{lamp.name} off the mirror's direction")
                place = Placement(as_vector(distance * direction), (0.0, 0.0, 0.0))
                draft.put(lamp, place, LAMP_MIRRORED, stage.stand_of(lamp))
                yield draft


def window_alone(stage: Stage) -> Iterator[Draft]:
    """Yield what is there already: a window, a lamp that is locked, the room."""
    if is_lit_anyway(stage):
        draft = Draft(stage)
        draft.say("the light that is there")
        yield draft


def as_it_stands(stage: Stage) -> Iterator[Draft]:
    """Yield the rig as it was given, for what it is a start to."""
    given = stage.cupboard.given
    lamps = [x for x in given.lamps if not stage.is_fixed(x.name)]
    cards = [x for x in given.cards if not stage.is_fixed(x.name)]
    if not (lamps or cards):
        return
    draft = Draft(stage)
    draft.say(AS_IT_STANDS)
    for lamp in lamps:
        draft.put(lamp, lamp.placement, _ANY_WAY, lamp.held)
    for card in cards:
        draft.put(card, card.placement, _ANY_WAY, card.held)
    for shell in given.shells:
        if not stage.is_fixed(shell.name):
            draft.shell(shell)
    yield draft


def shells(stage: Stage) -> Iterator[Draft]:
    """Yield a cone or tent over the sheet, with a lamp outside."""
    camera = stage.rig.camera.placement.position_mm
    sheet = stage.rig.sheet
    for shell in stage.cupboard.shells[:1]:
        lean = math.hypot(camera[0], camera[1]) / max(camera[2], 1.0)
        if lean > 0.2 or camera[2] <= shell.height_mm:
            continue
        opening = math.hypot(sheet.width_mm, sheet.height_mm)
        opening = opening * (1 - shell.height_mm / camera[2]) + 30.0
        placed = replace(
            shell,
            centre_mm=(0.0, 0.0, 0.0),
            top_width_mm=max(min(opening, 0.9 * shell.foot_width_mm), 1.0),
        )
        for sign, word in SIDES[: 1 if stage.cupboard.lamps else 0]:
            lamp = stage.cupboard.lamps[0]
            draft = Draft(stage)
            draft.say(f"{shell.name} over the sheet, {lamp.name} at the {word}")
            draft.shell(placed)
            out = sign * (shell.foot_width_mm / 2 + 350.0) * stage.side
            middle = np.array([0.0, 0.0, 0.5 * shell.height_mm])
            stand_lamp(draft, lamp, out + 1.4 * middle, middle)
            yield draft


def off_mirror(stage: Stage, side: float, wavelength_nm: float = 550.0) -> Doubles:
    """Return the direction from which the first order of a colour reaches the lens.

    The grating equation on the sheet's plane: the parts of the two directions in the plane
    differ from the mirror case by wavelength times lines per mm along the grating's
    direction. Without a grating, 35 degrees off the mirror direction.
    """
    grating = stage.rig.sheet.foil.grating
    if grating is None:
        off = math.sin(math.radians(35.0)) * stage.side[:2]
    else:
        along = np.array([math.cos(grating.direction_rad), math.sin(grating.direction_rad)])
        off = wavelength_nm * 1e-6 * grating.lines_per_mm * along
    flat = stage.ray[:2] + side * off
    length = float(np.linalg.norm(flat))
    if length > 0.97:  # this order runs into the sheet; stay just above it
        flat = flat * 0.97 / length
    return np.array([flat[0], flat[1], math.sqrt(1 - float(flat @ flat))])


def _board_places(
    stage: Stage, board: Card
) -> Iterator[tuple[str, Placement, Held | None, dict[str, float]]]:
    """Yield where a board can be in the mirror's view: standing, or held square to the ray."""
    height = _standing_height(stage, board)
    standing = stage.upright(stage.clear_mm + 40.0, height / 2)
    seen = stage.seen(standing)
    if seen is not None and seen.card.position_mm[2] < 1.1 * height:
        yield "behind the sheet", standing, stage.holder("table"), _BOARD_STANDING
    held = stage.holder("clamp", "boom", "string", "stand")
    if held is not None:
        size = max(board.width_mm, board.height_mm)
        distance = _farthest_filled(stage, board, least=0.5 * size)
        place = stage.square(min(distance, FAR_MM))
        yield "over the sheet's far side", place, held, BOARD_HELD
    else:
        yield "across two stacks of books", _across_stacks(stage), stage.holder("books"), _LYING


def _across_stacks(stage: Stage) -> Placement:
    """Return a level place over what the foil looks at: whatever leans there falls off books."""
    middle = ACROSS_MM / max(float(stage.ray[2]), 0.2) * stage.ray
    x, y = float(middle[0]), float(middle[1])
    return Placement((x, y, ACROSS_MM), (x, y, -FAR_BELOW_MM))


def _lamps_at(
    stage: Stage,
    lamp: Lamp,
    board: Card,
    place: Placement,
    bright: Doubles,
    words: str,
    held: Held | None,
    spans: dict[str, float],
) -> Iterator[Draft]:
    """Yield a board with a lamp aimed at it: from either side, over the camera, from below."""
    for side_words, spot in lamp_spots(stage, lamp, board, place, held):
        draft = Draft(stage)
        draft.say(f"{board.name} {words}, {lamp.name} on it {side_words}")
        draft.put(board, place, spans, held)
        stand_lamp(draft, lamp, spot, bright)
        yield draft


def lamp_spots(
    stage: Stage, lamp: Lamp, board: Card, place: Placement, held: Held | None
) -> Iterator[tuple[str, Doubles]]:
    """Yield where a lamp may stand (3,) that lights a board, with the words for it."""
    middle = np.asarray(place.position_mm)
    lens = np.asarray(stage.rig.camera.placement.position_mm)
    reach = 0.5 * board.width_mm + BESIDE_MM
    spots = []
    for sign, word in SIDES:
        out = sign * stage.side
        at_side = 0.4 * middle + np.array([0.0, 0.0, 0.35 * middle[2]])
        spots.append((f"from the {word}", at_side + reach * out))
        low = np.array([0.0, 0.0, CLOSE_LOW_MM])
        spots.append((f"close from the {word}", low + BESIDE_MM * out - 60.0 * stage.away))
    over = lens + np.array([0.0, 0.0, 0.6 * lamp.height_mm + 120.0]) - 60.0 * stage.away
    spots.append(("from over the camera", over))
    if held is not None and held.by != "table":
        below = np.array([1.6 * middle[0], 1.6 * middle[1], 0.5 * lamp.height_mm + 25.0])
        spots.append(("from below", below))
    for words, spot in spots:
        yield words, np.array([spot[0], spot[1], max(spot[2], 0.5 * lamp.height_mm + 20.0)])


def _turned(stage: Stage, board: Card, place: Placement) -> Card:
    """Return a board with its long side the way that covers more of what the foil sees."""
    seen = stage.seen(place)
    if seen is None or board.hole is not None:
        return board
    other = replace(board, width_mm=board.height_mm, height_mm=board.width_mm)
    return max((board, other), key=lambda b: _covers(b, seen.width_mm, seen.height_mm))


def _covers(board: Card, width: float, height: float) -> float:
    return min(board.width_mm / width, 1.0) * min(board.height_mm / height, 1.0)


def _standing_height(stage: Stage, board: Card) -> float:
    turned = _turned(stage, board, stage.upright(stage.clear_mm + 40.0, board.height_mm / 2))
    return turned.height_mm


def _farthest_filled(stage: Stage, card: Card, *, least: float) -> float:
    """Return the farthest distance on the ray at which a card fills the mirror's view."""
    best = max(least, NEAR_MM)
    for distance in np.arange(best, FAR_MM, 50.0):
        seen = stage.seen(stage.square(float(distance)))
        if seen is None or _covers(_turned(stage, card, seen.plane), *_size(seen)) < 0.999:
            break
        best = float(distance)
    return best


def _size(seen: object) -> tuple[float, float]:
    return float(getattr(seen, "width_mm")), float(getattr(seen, "height_mm"))  # noqa: B009


def _bright_share(stage: Stage) -> float:
    """Return where along the look's direction the light shall be brightest."""
    kind = stage.rig.look.kind
    return {"gradient": 1.4, "bright field": 0.9, "split": 1.0}.get(kind, 0.0)


def _hot_spots(stage: Stage) -> tuple[float, ...]:
    kind = stage.rig.look.kind
    if kind in ("bright band", "flat copy"):
        return (0.0,)
    return (_bright_share(stage), 0.3)


def stand_lamp(draft: Draft, lamp: Lamp, at: Doubles, aim: Doubles) -> None:
    """Put a lamp on a stand, aimed at a place (3,) of what it lights."""
    place = Placement(as_vector(at), as_vector(aim))
    draft.put(lamp, place, _LAMP_AT_BOARD, draft.stage.stand_of(lamp))


def is_lit_anyway(stage: Stage) -> bool:
    """Whether something shines before anything is brought in: a window, a lamp that is locked."""
    return any(lamp.on for lamp in stage.rig.lamps)


def _small_first(lamps: tuple[Lamp, ...]) -> list[Lamp]:
    return sorted(lamps, key=lambda lamp: lamp.width_mm * lamp.height_mm)


def _along_band(stage: Stage, lamp: Lamp) -> float:
    """Return the roll that lays a lamp's long side along the band."""
    turn = stage.rig.look.direction_rad
    long_is_level = lamp.width_mm >= lamp.height_mm
    return -turn if long_is_level else math.pi / 2 - turn
