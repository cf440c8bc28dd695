"""What a photograph cannot tell, in a maker's words, with the measurement that would tell it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.advice.slip_words import light_words
from lightplan.words.things import name_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.estimate import Doubt
    from lightplan.scene import Rig

MOST_TOLD = 3


def doubts_told(doubts: Sequence[Doubt]) -> list[Doubt]:
    """Return the doubts that are worth words: of each thing the worst, few of them."""
    first: dict[str, Doubt] = {}
    for doubt in doubts:
        first.setdefault(doubt.element, doubt)
    return list(first.values())[:MOST_TOLD]


def doubt_words(rig: Rig, doubt: Doubt) -> str:
    """Return what is not told and what would tell it, a clause without full stop."""
    name, size = name_in(rig, doubt.element), f"{_rounded(doubt.sigma)} {_UNITS[doubt.unit]}"
    if doubt.kind == "distance and power":
        return (
            f"whether {name} stands farther and is brighter, or nearer and dimmer ({size} and "
            f"{light_words(doubt.with_stops)} look alike): measure from its face to the middle of "
            f"the sheet{_second(rig, doubt)}"
        )
    what, how = _WHAT[doubt.kind]
    pin = f", or stand a pin of known height on the sheet (--pin): its shadow {_PIN}"
    told = pin if doubt.pin_sigma is not None else ""
    return (
        f"{what.format(name=name)}: {size} either way show nothing here, and cost nothing. "
        f"Where you want to build it again, {how}{told}{_second(rig, doubt)}"
    )


_PIN = "tells which way the lamp stands"
_UNITS = {"mm": "mm", "deg": "degrees"}
_WHAT = {
    "sideways": ("where {name} stands sideways", "measure that with a tape"),
    "height": ("how high {name} stands", "measure that with a tape"),
    "facing": ("which way {name} faces", "hold a protractor or a phone's level against it"),
    "bow": ("how far the middle of the sheet lies up", "lay a ruler over it"),
}


def _second(rig: Rig, doubt: Doubt) -> str:
    """Return the second photograph that would tell it, as the end of a clause; may be empty."""
    if not doubt.second:
        return ""
    return (
        f", or photograph once more with {name_in(rig, doubt.second)} off and name both "
        f"photographs (that would leave {_rounded(doubt.second_sigma)} {_UNITS[doubt.unit]})"
    )


def _rounded(value: float) -> str:
    step = 5 if value >= 20 else 1
    return f"{max(1, step * round(value / step)):.0f}"
