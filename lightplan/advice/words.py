"""How things, directions and amounts are said to a maker."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.scene.surfaces import Surface

STRAIGHT = 0.97  # cosine of 14 degrees: nearer to an axis than that is called straight
THIRDS = {0: "", 1: "1/3", 2: "2/3"}
_EDGES = (("right", "left"), ("far", "near"), ("upper", "lower"))
_WAYS = (("to the right", "to the left"), ("away from you", "towards you"), ("up", "down"))
_NOUNS = {
    "lamp": "lamp",
    "window": "window",
    "card": "card",
    "diffuser": "diffuser",
    "shell": "diffuser",
    "prop": "prop",
    "camera": "camera",
    "table": "table",
    "room": "wall",
    "sheet": "sheet",
}
_PLAIN = {"camera", "table", "ceiling", "floor"}


def thing(name: str, surface: Surface | None) -> str:
    """Return what a maker calls a thing.

    >>> thing("hole in roof", None), thing("dark room", None)
    ('the hole in roof', 'the dark room')
    """
    if surface is None or name in _PLAIN:
        return f"the {name}"
    noun = _NOUNS[surface.role]
    return f"the {name}" if noun in name.lower() else f"the {noun} '{name}'"


def way(step: ArrayLike) -> str:
    """Return the direction of a step in space, as seen by the maker.

    >>> way([0, -3, 1])
    'towards you'
    """
    return _main(_WAYS, step)


def step_words(step: ArrayLike) -> str:
    """Return the direction of a step, and that it follows the thing's face where it is askew.

    >>> step_words([0, 0, 2]), step_words([0, 1, 1.2])
    ('up', 'up along its own face')
    """
    values = np.asarray(step, float)
    askew = np.abs(values).max() < STRAIGHT * np.linalg.norm(values)
    return way(values) + (" along its own face" if askew else "")


def edge(direction: ArrayLike) -> str:
    """Return the name of the edge that lies in a direction from a thing's middle.

    >>> edge([-1, 0, 0.2])
    'left'
    """
    return _main(_EDGES, direction)


def _main(words: tuple[tuple[str, str], ...], direction: ArrayLike) -> str:
    values = np.asarray(direction, float)
    axis = int(np.argmax(np.abs(values)))
    return words[axis][0 if values[axis] > 0 else 1]


def side_of_sheet(where_mm: ArrayLike) -> str:
    """Return the part of the sheet in which a place lies, to follow "at the".

    >>> side_of_sheet([-40, 3])
    'left side'
    """
    return f"{_main(_EDGES, [*np.asarray(where_mm, float)[:2], 0.0])} side"


def stops_in_thirds(stops: float) -> str:
    """Return an amount of light in stops as cameras and lamps are set.

    >>> stops_in_thirds(4 / 3), stops_in_thirds(-1.0), stops_in_thirds(1 / 3)
    ('1 1/3 stops', '1 stop', '1/3 stop')
    """
    thirds = round(abs(stops) * 3)
    whole, part = divmod(thirds, 3)
    words = f"{whole} {THIRDS[part]}".strip() if whole else THIRDS[part]
    return f"{words} stop" + ("s" if thirds > 3 else "")


def rounded_up(length_mm: float, step: float = 5.0) -> float:
    """Return a length a maker can set, not below the one wanted.

    >>> rounded_up(61.2)
    65.0
    """
    return step * math.ceil(length_mm / step - 1e-9)
