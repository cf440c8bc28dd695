"""What a plan may not do: stand in the picture, pass through things, leave the reach.

Every rule returns `Limit`s with a signed excess in mm: positive is broken by that much,
negative is the room that is left.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene import Camera, Card, Held, Lamp, Rig, Shell
from lightplan.scene.edits import Move, edited
from lightplan.scene.solids import (
    CARD_THICKNESS_MM,
    Gaps,
    Solid,
    camera_solid,
    card_solid,
    frame_solid,
    lamp_solid,
    prop_solid,
    sheet_solid,
    shell_solids,
    table_solid,
)
from lightplan.scene.supports import lies_across

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.arrays import Doubles
    from lightplan.scene import Walls

PENCIL_LINE_MM = 0.5


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One rule for one or two elements.

    Parameters
    ----------
    rule : str
        "in the picture", "through each other", "reach", "room", "hides the sheet" or
        "holding".
    elements : tuple of str
    excess_mm : float
        Above 0: broken by this much; below 0: this much is left.
    sentence : str
        For the maker, true when `excess_mm` is above 0.
    """

    rule: str
    elements: tuple[str, ...]
    excess_mm: float
    sentence: str

    @property
    def broken(self) -> bool:
        """Whether the rule is broken by more than the width of a pencil line."""
        return self.excess_mm > PENCIL_LINE_MM


def limits(rig: Rig) -> tuple[Limit, ...]:
    """Return every rule that applies to a rig, broken or not."""
    solids, frame = _movable(rig), frame_solid(rig)
    fixed = [s for s in (camera_solid(rig.camera), sheet_solid(rig), table_solid(rig)) if s]
    fixed += _props(rig)
    gaps = Gaps([*solids, frame, *fixed])
    return (
        *_in_picture(rig, solids, frame, gaps),
        *_through(solids, fixed, gaps),
        *_reach(rig),
        *_room(rig, solids),
        *_camera_on_table(fixed, gaps),
        *_holding([*rig.lamps, *rig.cards, rig.camera]),
        *_on_table(rig),
    )


def broken(rig: Rig) -> tuple[Limit, ...]:
    """Return the broken rules, worst first."""
    found = [limit for limit in limits(rig) if limit.broken]
    return tuple(sorted(found, key=lambda limit: -limit.excess_mm))


def total_excess_mm(rig: Rig, *, apart_from: frozenset[tuple[str, ...]] = frozenset()) -> float:
    """Return the sum of all broken rules.

    Parameters
    ----------
    apart_from : frozenset of tuple of str
        (rule, *elements) that do not count, such as faults between things that cannot
        move.
    """
    return sum(
        limit.excess_mm
        for limit in limits(rig)
        if limit.broken and (limit.rule, *limit.elements) not in apart_from
    )


def unmovable(rig: Rig) -> frozenset[tuple[str, ...]]:
    """Return the broken rules about things that have no freedom, for `apart_from`."""
    free = {f.element for f in rig.freedoms if f.dimension != "trim_stops"}
    return frozenset(
        (limit.rule, *limit.elements) for limit in broken(rig) if not free & set(limit.elements)
    )


def _movable(rig: Rig) -> list[Solid]:
    lamps = [solid for lamp in rig.lamps if (solid := lamp_solid(lamp)) is not None]
    cards = [card_solid(card) for card in rig.cards]
    return lamps + cards + [plate for shell in rig.shells for plate in shell_solids(shell)]


def _props(rig: Rig) -> list[Solid]:
    return [prop_solid(prop) for prop in rig.props]


def _in_picture(rig: Rig, solids: list[Solid], frame: Solid, gaps: Gaps) -> Iterator[Limit]:
    through_hole = {card.name for card in rig.cards if _looks_through(rig, card)}
    for solid in [*solids, *_props(rig)]:
        if solid.kind == "shell" or solid.name in through_hole:
            continue
        yield Limit(
            rule="in the picture",
            elements=(solid.name,),
            excess_mm=-gaps.mm(frame, solid),
            sentence=f"the {solid.kind} {solid.name} stands in the picture",
        )
    for card in rig.cards:
        if card.name in through_hole and card.hole is not None:
            yield _view_through(rig, card)
    for shell in rig.shells:
        yield from _view_into(rig, shell)


def _looks_through(rig: Rig, card: Card) -> bool:
    """Whether the line from the lens to the sheet's middle passes the card's hole."""
    if card.hole is None:
        return False
    place = _piercing(rig, card.placement.axes(), np.asarray(card.placement.position_mm), _MIDDLE)
    away = np.hypot(*(place - card.hole.offset_mm).T)
    return bool(np.isfinite(away).all() and away[0] < card.hole.diameter_mm / 2)


_MIDDLE = np.zeros((1, 3))


def _sheet_corners(rig: Rig) -> Doubles:
    signs = np.array([[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]])
    return np.asarray(signs * np.array([rig.sheet.width_mm, rig.sheet.height_mm, 0.0]) / 2)


def _piercing(
    rig: Rig, axes: tuple[Doubles, Doubles, Doubles], origin: Doubles, points: Doubles
) -> Doubles:
    """Where lines from the lens to `points` cross a plane between them; NaN elsewhere."""
    lens = np.asarray(rig.camera.placement.position_mm)
    right, up, normal = axes
    way = points - lens
    with np.errstate(divide="ignore", invalid="ignore"):
        share = ((origin - lens) @ normal) / (way @ normal)
    share = np.where((share >= 0) & (share < 1), share, np.nan)
    offset = lens + share[:, None] * way - origin
    return np.stack([offset @ right, offset @ up], axis=-1)


def _view_through(rig: Rig, card: Card) -> Limit:
    assert card.hole is not None
    place = _piercing(
        rig, card.placement.axes(), np.asarray(card.placement.position_mm), _sheet_corners(rig)
    )
    away = np.hypot(*(place - card.hole.offset_mm).T)
    excess = float(np.nanmax(away)) - card.hole.diameter_mm / 2
    return Limit(
        rule="hides the sheet",
        elements=(card.name,),
        excess_mm=excess,
        sentence=f"the hole in {card.name} is too small to show the whole sheet",
    )


def _view_into(rig: Rig, shell: Shell) -> Iterator[Limit]:
    top = np.asarray(shell.centre_mm) + np.array([0.0, 0.0, shell.height_mm])
    if rig.camera.placement.position_mm[2] <= top[2]:
        return
    axes = (np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), np.array([0, 0, 1.0]))
    place = _piercing(rig, axes, top, _sheet_corners(rig))
    excess = float(np.hypot(*place.T).max()) - shell.top_width_mm / 2
    yield Limit(
        rule="hides the sheet",
        elements=(shell.name,),
        excess_mm=excess,
        sentence=f"the opening of the {shell.shape} {shell.name} does not show the whole sheet",
    )


def _through(solids: list[Solid], fixed: list[Solid], gaps: Gaps) -> Iterator[Limit]:
    pairs = list(combinations(solids, 2)) + [(a, b) for a in solids for b in fixed]
    for first, second in pairs:
        if first.name == second.name or (first.kind == "shell" and second.kind == "table"):
            continue
        touches = _TOUCHING_MM.get((first.kind, second.kind), 0.0)
        yield Limit(
            rule="through each other",
            elements=(first.name, second.name),
            excess_mm=-gaps.mm(first, second) - touches,
            sentence=f"the {first.kind} {first.name} passes through {_the(second)}",
        )


# A card stands on the table, may be pushed over the lens up to the body's front, and hangs
# from the clamp of a stand.
_TOUCHING_MM = {
    ("card", "table"): 1.0,
    ("lamp", "table"): 1.0,
    ("card", "camera"): CARD_THICKNESS_MM,
    ("card", "prop"): CARD_THICKNESS_MM,
}


def _the(solid: Solid) -> str:
    plain = solid.kind in ("camera", "sheet", "table")
    return f"the {solid.kind}" if plain else f"the {solid.kind} {solid.name}"


def _reach(rig: Rig) -> Iterator[Limit]:
    reach = rig.room.reach
    placed = [(la.name, la.placement) for la in rig.lamps if not la.is_window]
    placed += [(card.name, card.placement) for card in rig.cards]
    for name, placement in placed:
        x, y, z = placement.position_mm
        for excess, words in (
            (z - reach.highest_mm, "is higher than you can reach"),
            (reach.lowest_mm - z, "is lower than it can stand"),
            (math.hypot(x, y) - reach.farthest_mm, "is farther away than you can reach"),
        ):
            yield Limit(
                rule="reach", elements=(name,), excess_mm=excess, sentence=f"{name} {words}"
            )


def _room(rig: Rig, solids: list[Solid]) -> Iterator[Limit]:
    walls = rig.room.walls
    if walls is None:
        return
    things = [(f"the {solid.kind} {solid.name}", solid.name, solid.corners_mm) for solid in solids]
    things.append(("the camera", "camera", _camera_corners(rig.camera)))
    for thing, name, corners in things:
        high = corners.max(axis=0) - [walls.width_mm / 2, walls.depth_mm / 2, 0]
        low = -corners.min(axis=0) - [walls.width_mm / 2, walls.depth_mm / 2, 0]
        for excess, words in (
            (high[2] - walls.ceiling_mm, "passes through the ceiling"),
            (low[2] - walls.floor_mm, "passes through the floor"),
            (max(high[0], high[1], low[0], low[1]), "passes through a wall"),
        ):
            yield Limit(
                rule="room", elements=(name,), excess_mm=float(excess), sentence=f"{thing} {words}"
            )


def _camera_corners(camera: Camera) -> Doubles:
    """Return the lens (1, 3), and where its size is known the corners of the body, in mm."""
    lens, body = np.array([camera.placement.position_mm]), camera_solid(camera)
    return lens if body is None else np.vstack([lens, body.corners_mm])


def _camera_on_table(fixed: list[Solid], gaps: Gaps) -> Iterator[Limit]:
    """Yield whether a camera's body stays above the table; its lens does in any rig."""
    of_kind = {solid.kind: solid for solid in fixed}
    if "camera" in of_kind and "table" in of_kind:
        excess = -gaps.mm(of_kind["camera"], of_kind["table"])
        yield Limit(
            rule="room",
            elements=("camera", "table"),
            excess_mm=excess,
            sentence="the camera passes through the table",
        )


def camera_fits(rig: Rig) -> bool:
    """Whether the room has place for the camera where it is, and what holds it reaches there.

    What else stands in its way may be moved.
    """
    solids = [solid for solid in (camera_solid(rig.camera), table_solid(rig)) if solid]
    on_table = _camera_on_table(solids, Gaps(solids)) if solids else ()
    found = (*_room(rig, []), *on_table, *_holding([rig.camera]))
    return not any(limit.broken for limit in found)


def walls_round(rig: Rig, walls: Walls) -> Walls:
    """Return walls moved apart, and their ceiling raised, until all of a rig is within.

    To whole 10 cm; nowhere closer than they were.
    """
    at = np.vstack([*(solid.corners_mm for solid in _movable(rig)), _camera_corners(rig.camera)])
    across, deep = 2 * np.abs(at[:, :2]).max(axis=0)
    sizes = np.array([across, deep, at[:, 2].max()]) - PENCIL_LINE_MM
    width, depth, up = (100.0 * np.ceil(sizes / 100.0)).tolist()
    return replace(
        walls,
        width_mm=max(walls.width_mm, width),
        depth_mm=max(walls.depth_mm, depth),
        ceiling_mm=max(walls.ceiling_mm, up),
    )


def _on_table(rig: Rig) -> Iterator[Limit]:
    """Yield whether the sheet lies on its table."""
    table = rig.room.table
    if table is None:
        return
    over = max(rig.sheet.width_mm - table.width_mm, rig.sheet.height_mm - table.depth_mm) / 2
    yield Limit(
        rule="room",
        elements=("sheet", "table"),
        excess_mm=over,
        sentence=f"the sheet reaches {over:.0f} mm over the table's edge; lay a board under it",
    )


FALLS_OVER_RAD = math.radians(12.0)
"""A board that leans forward by more falls, whatever it stands on. Common practice, no source."""
STANDS_WITHIN_MM = 4.0


def _holding(things: list[Lamp | Card | Camera]) -> Iterator[Limit]:
    """Yield whether what holds a thing reaches where it is, and whether it would stay there."""
    for thing in things:
        if thing.held is None:
            continue
        name = "camera" if isinstance(thing, Camera) else thing.name
        height, held = thing.placement.position_mm[2], thing.held
        by = _HOLDER_WORDS.get(held.by, held.by)
        for excess, words in (
            (height - held.highest_mm, f"is higher than {by} reaches"),
            (held.lowest_mm - height, f"is lower than {by} goes"),
        ):
            yield Limit(
                rule="holding", elements=(name,), excess_mm=excess, sentence=f"{name} {words}"
            )
        if isinstance(thing, Card) and held.by in ("table", "books"):
            yield from _stays(thing, held)


_HOLDER_WORDS = {
    "stand": "its stand",
    "clamp": "the clamp's arm",
    "boom": "the boom",
    "tripod": "the tripod",
    "books": "a stack of books",
    "string": "the string",
    "table": "the table",
}


def _stays(card: Card, held: Held) -> Iterator[Limit]:
    """Yield whether a board that stands or leans would fall, or floats."""
    right, up, normal = card.placement.axes()
    low = card.placement.position_mm[2]
    low -= abs(right[2]) * card.width_mm / 2 + abs(up[2]) * card.height_mm / 2
    if not lies_across(card):
        over = math.asin(min(1.0, max(-1.0, -float(normal[2])))) - FALLS_OVER_RAD
        yield Limit(
            rule="holding",
            elements=(card.name,),
            excess_mm=over * card.height_mm,
            sentence=f"{card.name} leans forward so far that it falls",
        )
    if held.by == "table":
        yield Limit(
            rule="holding",
            elements=(card.name,),
            excess_mm=low - STANDS_WITHIN_MM,
            sentence=f"{card.name} floats above the table",
        )


def set_down(rig: Rig) -> Rig:
    """Return a rig whose boards that stand on the table stand on it, to the millimetre."""
    moves = []
    for card in rig.cards:
        if card.held is None or card.held.by != "table" or card.locked:
            continue
        right, up, _ = card.placement.axes()
        half = abs(right[2]) * card.width_mm / 2 + abs(up[2]) * card.height_mm / 2
        x, y, z = card.placement.position_mm
        if abs(z - half - 1.0) > 0.05:
            moves.append(
                Move(element=card.name, position_mm=(x, y, float(half) + 1.0), keeps_direction=True)
            )
    return edited(rig, *moves)
