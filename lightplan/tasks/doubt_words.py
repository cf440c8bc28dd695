"""What a photograph cannot tell, in a maker's words, with the measurement that would tell it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.advice.slip_words import light_words
from lightplan.estimate import HIDES
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
        brighter = light_words(doubt.with_stops)
        return (
            f"whether {name} stands up to {size} farther and is {brighter} "
            f"brighter, or so much nearer and dimmer, as these look alike: measure from its face "
            f"to the middle of the sheet{_strip(doubt)}{_second(rig, doubt)}"
        )
    what, how = _WHAT[doubt.kind]
    pin = f", or stand a pin of known height on the sheet (--pin): its shadow {_PIN}"
    told = pin if doubt.pin_sigma is not None else ""
    return (
        f"{what.format(name=name)}: being off by {size} does not show here, and costs nothing. "
        f"Where you want to build it again, {how}{told}{_strip(doubt)}{_second(rig, doubt)}"
    )


def unseen_words(rig: Rig, doubt: Doubt) -> str:
    """Return what may have drifted without showing, a clause without full stop."""
    name, most = name_in(rig, doubt.element), HIDES * doubt.sigma
    size = f"{_rounded(most)} {_UNITS[doubt.unit]}"
    way, how = _UNSEEN[doubt.kind]
    return f"{name} may have {way} by up to {size} without showing here: {how}"


_TAPE = "measure where it stands and compare with your notes"
_UNSEEN = {
    "distance and power": ("moved nearer or farther, its power with it,", _TAPE),
    "distance": ("moved nearer or farther", _TAPE),
    "sideways": ("moved sideways", _TAPE),
    "height": ("moved up or down", _TAPE),
    "facing": ("turned", "hold a protractor or a phone's level against it"),
    "bow": ("curled", "lay a ruler over it"),
}
_PIN = "tells which way the lamp stands"
_UNITS = {"mm": "mm", "deg": "degrees"}
_WHAT = {
    "sideways": ("where {name} stands sideways", "measure that with a tape"),
    "height": ("how high {name} stands", "measure that with a tape"),
    "facing": ("which way {name} faces", "hold a protractor or a phone's level against it"),
    "bow": ("how far the middle of the sheet lies up", "lay a ruler over it"),
}


_SIDES = {
    "left": "to the left of the sheet",
    "right": "to the right of the sheet",
    "far": "beyond the sheet",
    "near": "on your side of the sheet",
}


def _strip(doubt: Doubt) -> str:
    """Return the strip of foil that would tell it, as the end of a clause; may be empty."""
    if not doubt.strip:
        return ""
    return (
        f", or glue a strip of this foil on the slip of `lightplan score --card` and lay it "
        f"{_SIDES[doubt.strip]}, leading away (that would leave about "
        f"{_rounded(doubt.strip_sigma)} {_UNITS[doubt.unit]})"
    )


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
