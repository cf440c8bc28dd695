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
        words.append(
            f"books for {_of_books([show_length(10 * round(h / 10), unit) for h in stacks])}"
        )
    return tuple(words)


def _of_books(heights: list[str]) -> str:
    """Return stacks of some heights in words, the highest first.

    >>> _of_books(["21 cm"]), _of_books(["21 cm", "21 cm"]), _of_books(["31 cm", "21 cm"])
    ('a stack 21 cm high', '2 stacks 21 cm high', '2 stacks, 31 cm and 21 cm high')
    """
    count = "a stack" if len(heights) == 1 else f"{len(heights)} stacks"
    if len(set(heights)) == 1:
        return f"{count} {heights[0]} high"
    return f"{count}, {', '.join(heights[:-1])} and {heights[-1]} high"
