"""What stands beside the things of a rig to hold them: stacks of books, stands, arms, strings.

Plain shapes, to be drawn and counted; light does not see them, for makers keep them out of it.
Sizes are from memory: an exercise book, a light stand, a table of 0.75 m.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.scene.camera import Camera
from lightplan.scene.cards import Card

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene.holding import HolderKind
    from lightplan.scene.lamps import Lamp
    from lightplan.scene.rig import Rig

    Held: TypeAlias = Camera | Card | Lamp

LEANS_ON_SHARE = 0.5
"""Books that something leans on should reach to about half of its height. Our choice."""
LEAST_STACK_MM = 10.0
LEVEL_COSINE = 0.98  # within 11 degrees of level: it lies and leans on nothing
BOOK_MM = (210.0, 150.0)  # A5, its long side along what it carries
TABLE_HIGH_MM = 750.0
BESIDE_TABLE_MM = 80.0  # from the edge of a table to the pole of a stand
FOOT_MM = 350.0  # legs of a stand, from its pole
OVER_MM = 150.0  # the arm of a boom ends so much over what it holds
_UP = np.array([0.0, 0.0, 1.0])
STRING_MM = 400.0  # drawn of a string; where it ends is the maker's affair


@dataclass(frozen=True, eq=False)
class Support:
    """What holds one thing.

    Parameters
    ----------
    thing : str
        Its name in the rig; "camera".
    by : str
        The kind of holder.
    stacks : tuple of (8, 3) float
        Boxes of books: four corners of the foot, then those above them. [mm]
    lines : tuple of (n, 3) float
        Poles, arms and strings. [mm]
    legs : tuple of (2, 3) float
        What a pole stands on, under the table. [mm]
    """

    thing: str
    by: HolderKind
    stacks: tuple[Doubles, ...] = ()
    lines: tuple[Doubles, ...] = ()
    legs: tuple[Doubles, ...] = ()

    @property
    def stack_heights_mm(self) -> tuple[float, ...]:
        """How high its stacks of books are."""
        return tuple(float(stack[4, 2] - stack[0, 2]) for stack in self.stacks)


def supports_of(rig: Rig) -> tuple[Support, ...]:
    """Return what holds the camera, the cards and the lamps that are on, where that is said."""
    things: list[tuple[str, Held]] = [("camera", rig.camera)]
    things += [(card.name, card) for card in rig.cards]
    things += [(lamp.name, lamp) for lamp in rig.lamps if lamp.on]
    return tuple(found for name, thing in things if (found := _support(rig, name, thing)))


def lies_across(card: Card) -> bool:
    """Tell whether a card lies level on books, at its ends, over what is under its middle."""
    if card.held is None or card.held.by != "books":
        return False
    return abs(float(card.placement.axes()[2][2])) > LEVEL_COSINE


def leaning_stack_mm(card: Card) -> float:
    """Return how high the books are on which a card leans, in whole centimetres."""
    return max(LEAST_STACK_MM, 10.0 * round(LEANS_ON_SHARE * card.height_mm / 10.0))


def _support(rig: Rig, name: str, thing: Held) -> Support | None:
    held = thing.held
    if held is None:
        return None
    if held.by in ("books", "table"):
        stacks = tuple(_stacks(rig, thing))
        return Support(name, held.by, stacks=stacks) if stacks else None
    if held.by == "string":
        return Support(name, held.by, lines=tuple(_strings(thing)))
    pole, *legs = _pole(rig, thing)
    return Support(name, held.by, lines=(pole,), legs=tuple(legs))


def _stacks(rig: Rig, thing: Held) -> Iterator[Doubles]:
    """Yield the books under a thing and those that it leans on."""
    if isinstance(thing, Card) and lies_across(thing):
        yield from _under_ends(rig, thing)
        return
    _, up, normal = thing.placement.axes()
    middle = np.asarray(thing.placement.position_mm)
    level = np.array([normal[0], normal[1], 0.0])
    if np.hypot(*level[:2]) < 1e-6:
        level = np.array([0.0, 1.0, 0.0])
    level /= np.hypot(*level[:2])
    along = np.array([-level[1], level[0], 0.0])
    floor = _top_of_table(rig)
    half = 0.0 if isinstance(thing, Camera) else thing.height_mm / 2
    low = middle - half * up if up[2] >= 0 else middle + half * up
    if thing.held is not None and thing.held.by == "books" and low[2] - floor >= LEAST_STACK_MM:
        yield _box(low, along, level, floor, low[2])
    if isinstance(thing, Card) and abs(normal[2]) < LEVEL_COSINE:
        height = leaning_stack_mm(thing)
        rise = max(abs(float(up[2])), 1e-3)
        touch = low + up * np.sign(up[2]) * min(height / rise, thing.height_mm)
        behind = touch - level * BOOK_MM[1] / 2
        top = min(low[2] + height, float(touch[2]))
        yield _box(behind, along, level, floor, top)


def _under_ends(rig: Rig, card: Card) -> Iterator[Doubles]:
    """Yield a stack under each end of a card that lies level, along its longer side."""
    right, up, _ = card.placement.axes()
    long, across = (right, up) if card.width_mm >= card.height_mm else (up, right)
    half = max(card.width_mm, card.height_mm) / 2 - BOOK_MM[1] / 2
    middle, floor = np.asarray(card.placement.position_mm), _top_of_table(rig)
    for side in (-1.0, 1.0):
        at = middle + side * half * long
        if at[2] - floor >= LEAST_STACK_MM:
            yield _box(at, across, long, floor, float(at[2]))


def _top_of_table(rig: Rig) -> float:
    return 0.0 if rig.room.table is None else -rig.room.table.drop_mm


def _box(middle: Doubles, along: Doubles, level: Doubles, low: float, high: float) -> Doubles:
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    ring = middle + signs @ np.stack([BOOK_MM[0] * along, BOOK_MM[1] * level])
    foot, top = ring.copy(), ring.copy()
    foot[:, 2], top[:, 2] = low, high
    return read_only(np.concatenate([foot, top]))


def _strings(thing: Held) -> Iterator[Doubles]:
    right, up, _ = thing.placement.axes()
    middle = np.asarray(thing.placement.position_mm)
    wide, high = (0.0, 0.0) if isinstance(thing, Camera) else (thing.width_mm, thing.height_mm)
    for side in (-0.4, 0.4):
        ends = [middle + side * wide * right + way * high / 2 * up for way in (-1, 1)]
        top = max(ends, key=lambda end: float(end[2]))
        yield read_only(np.array([top, top + STRING_MM * _UP]))


def _pole(rig: Rig, thing: Held) -> Iterator[Doubles]:
    """Yield a pole beside the table, an arm from it to the thing, and what it stands on."""
    at = np.asarray(thing.placement.position_mm, float)
    by = "stand" if thing.held is None else thing.held.by
    edge, outwards = _beside_table(rig, at)
    high = at[2] + (OVER_MM if by == "boom" else 0.0)
    if by == "clamp":
        yield read_only(np.stack([edge, np.array([edge[0], edge[1], high]), at]))
        return
    foot = edge + BESIDE_TABLE_MM * outwards
    walls = rig.room.walls
    foot[2] = _top_of_table(rig) - TABLE_HIGH_MM if walls is None else -walls.floor_mm
    top = np.array([foot[0], foot[1], high])
    yield read_only(np.array([foot + FOOT_MM / 2 * _UP, top, at]))
    for turn in np.pi * np.array([1 / 2, 7 / 6, 11 / 6]):
        leg = foot + FOOT_MM * np.array([np.cos(turn), np.sin(turn), 0.0])
        yield read_only(np.array([foot + FOOT_MM / 2 * _UP, leg]))


def _beside_table(rig: Rig, at: Doubles) -> tuple[Doubles, Doubles]:
    """Return the place at the table's edge that is nearest to a thing, and the way out."""
    table = rig.room.table
    if table is None:
        return np.array([at[0], at[1], 0.0]), np.zeros(3)
    half = np.array([table.width_mm, table.depth_mm]) / 2
    over = half - np.abs(at[:2])
    outwards = np.zeros(3)
    edge = np.array([at[0], at[1], _top_of_table(rig)])
    if (over < 0).any():  # it stands beside the table already
        return edge, outwards
    axis = int(np.argmin(over))
    outwards[axis] = 1.0 if at[axis] >= 0 else -1.0
    edge[axis] = outwards[axis] * half[axis]
    return edge, outwards
