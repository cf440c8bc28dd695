"""What has to be at hand to hold the things of a rig, counted."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from lightplan.scene.supports import supports_of
from lightplan.units import show_length

if TYPE_CHECKING:
    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

_NAMES = {
    "stand": ("a light stand", "light stands"),
    "clamp": ("a clamp with an arm", "clamps with arms"),
    "boom": ("a boom", "booms"),
    "tripod": ("a tripod", "tripods"),
    "string": ("string to hang it", "things to hang by strings"),
}


def holders_needed(rig: Rig, unit: LengthUnit = "mm") -> tuple[str, ...]:
    """Return what holds the rig's things, each kind counted, books by the height of their stacks.

    Things of which is not said what holds them ask for nothing.
    """
    found = supports_of(rig)
    counts = Counter(support.by for support in found if support.lines)
    words = []
    for kind, (one, many) in _NAMES.items():
        number = counts[kind]  # type: ignore[index]
        if number:
            words.append(one if number == 1 else f"{number} {many}")
    stacks = sorted((h for support in found for h in support.stack_heights_mm), reverse=True)
    if stacks:
        heights = ", ".join(show_length(10 * round(high / 10), unit) for high in stacks)
        words.append(f"books for {'a stack' if len(stacks) == 1 else 'stacks'} {heights} high")
    return tuple(words)
