"""The edits there are, as plain values: set, move, turn, power, add, remove, exchange and more."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from lightplan.scene.cards import Card, Shell
from lightplan.scene.lamps import Lamp
from lightplan.scene.props import Prop

if TYPE_CHECKING:
    from lightplan.arrays import Vector
    from lightplan.scene.camera import Camera
    from lightplan.scene.rig import Freedom

Thing: TypeAlias = Lamp | Card | Shell | Prop


@dataclass(frozen=True)
class Set:
    """Give one dimension of a thing a value, in mm or stops; dimensions as in the freedoms."""

    element: str
    dimension: str
    value: float


@dataclass(frozen=True, kw_only=True)
class Move:
    """Put a thing somewhere, aim it somewhere, or both; None leaves it as it is.

    With `keeps_direction` a moved thing faces the way it did, else the point it did.
    """

    element: str
    position_mm: Vector | None = None
    aim_mm: Vector | None = None
    keeps_direction: bool = False


@dataclass(frozen=True, kw_only=True)
class Turn:
    """Turn a thing by so much: about the vertical, about its level edge, about its own axis.

    Its middle stays. Positive turns to its own right, leans back, and rolls counter-clockwise
    as seen by someone who looks at its front. [rad]
    """

    element: str
    turn_rad: float = 0.0
    lean_rad: float = 0.0
    roll_rad: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Power:
    """Set a lamp's power, switch it, or both; None leaves it as it is."""

    element: str
    trim_stops: float | None = None
    on: bool | None = None


@dataclass(frozen=True)
class Add:
    """Bring a thing in, with how it may move."""

    thing: Thing
    freedoms: tuple[Freedom, ...] = ()


@dataclass(frozen=True)
class Remove:
    """Take a thing out, and its freedoms with it."""

    element: str


@dataclass(frozen=True)
class Exchange:
    """Put another thing, of the same name, in the place of one; or another camera."""

    thing: Thing | Camera


@dataclass(frozen=True)
class Rename:
    """Give a thing another name; its freedoms follow."""

    element: str
    name: str


@dataclass(frozen=True)
class Lock:
    """Let planning leave a thing where it stands, which ends its freedoms; or let it go."""

    element: str
    locked: bool


Edit: TypeAlias = Set | Move | Turn | Power | Add | Remove | Exchange | Rename | Lock
