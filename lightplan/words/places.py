"""How places, directions and edges are said: right, left, away from you, towards you, up, down.

The maker stands where y is least and looks along y; the cross marks the sheet's middle.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Vector

    Direction = Sequence[float] | Doubles

ON_LINE_MM = 0.5
STRAIGHT = 0.97  # cosine of 14 degrees: nearer to an axis than that is called straight
RIGHT, LEFT = "to the right", "to the left"
AWAY, TOWARDS = "away from you", "towards you"
_WAYS = ((RIGHT, LEFT), (AWAY, TOWARDS), ("up", "down"))
_EDGES = (("right", "left"), ("far", "near"), ("upper", "lower"))


def way(step: Direction) -> str:
    """Return the direction of a step in space, as seen by the maker.

    >>> way([0, -3, 1])
    'towards you'
    """
    return _main(_WAYS, step)


def step_words(step: Direction) -> str:
    """Return the direction of a step, and that it follows the thing's face where it is askew.

    >>> step_words([0, 0, 2]), step_words([0, 1, 1.2])
    ('up', 'up along its own face')
    """
    askew = max(abs(value) for value in step) < STRAIGHT * math.hypot(*step)
    return way(step) + (" along its own face" if askew else "")


def edge(direction: Direction) -> str:
    """Return the name of the edge that lies in a direction from a thing's middle.

    >>> edge([-1, 0, 0.2])
    'left'
    """
    return _main(_EDGES, direction)


def side_of_sheet(where_mm: Direction) -> str:
    """Return the part of the sheet in which a place lies, to follow "at the".

    >>> side_of_sheet([-40, 3])
    'left side'
    """
    x, y = where_mm[:2]
    return f"{edge([x, y, 0.0])} side"


def _main(words: tuple[tuple[str, str], ...], direction: Direction) -> str:
    axis = max(range(len(direction)), key=lambda i: abs(direction[i]))
    return words[axis][0 if direction[axis] > 0 else 1]


def left_right(x_mm: float, unit: LengthUnit) -> str:
    """Return where a thing is beside the cross.

    >>> left_right(-480.0, "mm"), left_right(0.0, "mm"), left_right(254.0, "in")
    ('480 mm left', '0 mm', '10.0 in right')
    """
    shown = show_length(abs(x_mm), unit)
    if abs(x_mm) < ON_LINE_MM:
        return shown
    return f"{shown} {'right' if x_mm > 0 else 'left'}"


def away_towards(y_mm: float, unit: LengthUnit) -> str:
    """Return where a thing is along the line from the maker.

    >>> away_towards(-260.0, "mm"), away_towards(177.0, "cm")
    ('260 mm towards you', '17.7 cm away')
    """
    shown = show_length(abs(y_mm), unit)
    if abs(y_mm) < ON_LINE_MM:
        return shown
    return f"{shown} {'away' if y_mm > 0 else 'towards you'}"


def place_words(point_mm: Vector, unit: LengthUnit) -> str:
    """Return a point in words.

    >>> place_words((0.0, 0.0, 0.0), "mm"), place_words((0.0, -46.0, 0.0), "mm")
    ('the cross', 'a point 46 mm towards you from the cross')
    """
    x, y, z = point_mm
    parts = [left_right(x, unit)] if abs(x) >= ON_LINE_MM else []
    parts += [away_towards(y, unit)] if abs(y) >= ON_LINE_MM else []
    high = f"{show_length(z, unit)} above the table" if abs(z) >= ON_LINE_MM else ""
    if not parts:
        return f"a point {high}, over the cross" if high else "the cross"
    flat = " and ".join(parts)
    return f"a point {flat} from the cross" + (f", {high}" if high else "")


def spot_words(x_mm: float, y_mm: float, unit: LengthUnit = "mm") -> str:
    """Return a place on the sheet as the maker finds it.

    >>> spot_words(-12.0, 30.4), spot_words(0.2, 0.0)
    ('12 mm left and 30 mm away, from the middle', 'the middle')
    """
    parts = [left_right(x_mm, unit)] if abs(x_mm) >= ON_LINE_MM else []
    parts += [away_towards(y_mm, unit)] if abs(y_mm) >= ON_LINE_MM else []
    return f"{' and '.join(parts)}, from the middle" if parts else "the middle"
