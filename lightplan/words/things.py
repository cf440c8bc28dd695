"""What things are called, and how amounts of light and lengths are said."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lightplan.scene.surfaces import build_surfaces

if TYPE_CHECKING:
    from lightplan.scene import Rig
    from lightplan.scene.surfaces import Surface

THIRDS = {0: "", 1: "1/3", 2: "2/3"}
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
_SAID = {
    "lamp": ("lamp", "light", "softbox", "panel", "strip", "bulb", "tube", "torch", "flash"),
    "card": ("card", "board", "sheet", "paper"),
    "diffuser": ("diffuser", "tissue"),
}
"""Words in a name that say what kind of thing it is; any other name needs the noun before it."""


def thing(name: str, surface: Surface | None) -> str:
    """Return what a maker calls a thing.

    >>> thing("hole in roof", None), thing("dark room", None)
    ('the hole in roof', 'the dark room')
    """
    if surface is None or name in _PLAIN:
        return f"the {name}"
    noun = _NOUNS[surface.role]
    said = any(word in name.lower() for word in _SAID.get(noun, (noun,)))
    return f"the {name}" if said else f"the {noun} '{name}'"


def name_in(rig: Rig, name: str) -> str:
    """Return how the maker calls a thing of the rig; a window or card that is gone too."""
    if name in ("camera", "sheet", "room"):
        return f"the {name}"
    found = next((s for s in build_surfaces(rig) if s.name == name), None)
    return thing(name, found) if found is not None else f"'{name}'"


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
