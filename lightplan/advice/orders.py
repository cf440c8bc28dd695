"""Orders in a maker's words: settings of the camera, things moved twice, light to shut out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.advice.slip_words import light_words, shutter_words, undo_words
from lightplan.words.places import AWAY, LEFT, RIGHT, TOWARDS, way
from lightplan.words.things import name_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.scene import Rig
    from lightplan.scene.foreign import Foreign
    from lightplan.scene.slips import Slip


def together(planned: Rig, group: Sequence[Slip]) -> str:
    """Return the order that undoes several slips of one thing."""
    orders = [undo_words(planned, s) for s in told_of(group)]
    name = name_in(planned, group[0].element)
    first, *rest = orders
    parts = [first]
    for order in rest:
        parts.append(order.replace(f"move {name} ", "").replace(f" {name}", " it"))
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)


def told_of(group: Sequence[Slip]) -> Sequence[Slip]:
    """Return the slips of one thing that are worth an order of their own; the first at least."""
    told = [s for s in group if abs(s.value) >= (8.0 if s.unit == "mm" else 1.5)]
    return told if told else group[:1]


def exposure_order(stops: float, time_s: float | None) -> str:
    """Return the order that undoes an exposure that is off by some stops.

    >>> exposure_order(1.35, 1 / 20), exposure_order(-1.0, None)
    ('expose 1 1/3 stops less: 1/50 instead of 1/20', 'expose 1 stop (twice) more')
    """
    word = "less" if stops > 0 else "more"
    text = f"expose {light_words(-stops)} {word}"
    if time_s is None:
        return text
    return f"{text}: {shutter_words(time_s / 2**stops)} instead of {shutter_words(time_s)}"


def balance_order(stops: float) -> str:
    """Return the order that undoes a white balance; `stops` is red over blue."""
    tone = "warm" if stops > 0 else "cold"
    return (
        f"set the white balance on white paper under these lamps, and lock it: the picture is "
        f"too {tone}"
    )


CURVE_ORDER = (
    "save a raw picture (DNG), or choose the plainest picture style: the camera's own curve lifts "
    "the shadows and takes the run off the foil"
)
FOCUS_ORDER = (
    "focus anew on an edge of the foil in the middle of the sheet, and release with the self-timer"
)


def foreign_order(foreign: Foreign) -> str:
    """Return the order that shuts out light that is not in the rig."""
    where = (
        _from_where(foreign) if foreign.sure else f"on the sheet, perhaps {_from_where(foreign)}"
    )
    return (
        f"find what shines {where}, and switch it off or cover it: a lamp, a "
        "window, a screen, a bright shirt"
    )


def foreign_words(foreign: Foreign) -> str:
    """Return what is there that the plan does not have, a clause without full stop."""
    perhaps = "" if foreign.sure else "perhaps "
    return f"light that is not in the plan comes {perhaps}{_from_where(foreign)}"


def _from_where(foreign: Foreign) -> str:
    x, y, z = foreign.direction
    level = way([x, y, 0.0]) if abs(x) + abs(y) > 0.2 else "above the set"
    height = "high up" if z > 0.6 else ("at about the height of a head" if z > 0.3 else "low down")
    side = {
        RIGHT: "from the right",
        LEFT: "from the left",
        AWAY: "from behind the set",
        TOWARDS: "from your own side",
        "above the set": "from above",
    }[level]
    return side if level == "above the set" else f"{side}, {height}"
