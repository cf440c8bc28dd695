"""How each thing is held where it stands, in words that a maker can follow."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.scene import Camera, Card, Held, Lamp, Sheet
from lightplan.scene.supports import leaning_stack_mm, lies_across
from lightplan.units import LengthUnit, show_length
from lightplan.words.places import LEFT, RIGHT, away_towards

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


LAID_OVER_MM = 100.0
"""A phone whose lens is higher does not stand on the table: it lies on a board or a cone."""


def holding_words(
    thing: Camera | Card | Lamp, lowest: Doubles, sheet: Sheet, unit: LengthUnit
) -> str:
    """Return how a thing is held, to follow what is said of how it stands; "" where unknown.

    Parameters
    ----------
    lowest : (3,) float
        The lowest point of its outline. How high that is, is told beside it already: words
        tell it where books make that height.
    """
    held = thing.held
    if held is None:
        return ""
    if isinstance(thing, Card):
        return _card(thing, held, lowest, sheet, unit)
    high = thing.placement.position_mm[2]
    height = show_length(high, unit)
    return {
        "stand": f"on a light stand, its middle {height} high",
        "clamp": "in a clamp with an arm at the table's edge",
        "boom": "on a boom; weight its foot",
        "tripod": f"on a tripod, {height} high",
        "books": f"on a stack of books {show_length(max(float(lowest[2]), 0.0), unit)} high",
        "string": "hung from a string; tether it",
        "table": "standing on the table" if high < LAID_OVER_MM else "laid on what is under it",
    }[held.by]


def fixing_words(camera: Camera) -> str:
    """Return how to keep a camera where it has been put, as its holder wants it.

    >>> from lightplan.scene import Placement
    >>> fixing_words(Camera(placement=Placement((0.0, -60.0, 102.0))))
    'fix it so that it cannot move'
    """
    if camera.held is None:
        return "fix it so that it cannot move"
    lies_over = camera.placement.position_mm[2] >= LAID_OVER_MM
    return {
        "stand": "tighten the stand",
        "clamp": "tighten the clamp and its arm",
        "boom": "tighten the boom and weight its foot",
        "tripod": "tighten the tripod",
        "books": "tape it to its books so that it cannot slide",
        "string": "tether it so that it cannot swing",
        "table": f"tape it to {'what it lies on' if lies_over else 'the table'} so that it "
        "cannot slide",
    }[camera.held.by]


def _card(card: Card, held: Held, lowest: Doubles, sheet: Sheet, unit: LengthUnit) -> str:
    edge = show_length(max(float(lowest[2]), 0.0), unit)
    if lies_across(card):
        return f"laid across two stacks of books {edge} high, one under each end"
    stack = show_length(leaning_stack_mm(card), unit)
    words = {
        "stand": "clipped to a stand",
        "clamp": "in a clamp with an arm",
        "boom": "hung from a boom; weight the boom's foot",
        "tripod": "clipped to a tripod",
        "string": "hung on two strings",
        "books": f"on a stack of books {edge} high, leaning on more books",
        "table": f"standing on the table, leaning on a stack of books {stack} high",
    }[held.by]
    if held.by in ("table", "books"):
        words += f", lower edge {_from_sheet(lowest, sheet, unit)}"
    return words


def _from_sheet(lowest: Doubles, sheet: Sheet, unit: LengthUnit) -> str:
    """Return how far a point is from the sheet's nearest edge, and which side of it.

    >>> import numpy as np
    >>> _from_sheet(np.array([0.0, 172.0, 0.0]), Sheet(width_mm=90, height_mm=104), "cm")
    '12.0 cm behind the sheet'
    """
    x, y = float(lowest[0]), float(lowest[1])
    over_x, over_y = abs(x) - sheet.width_mm / 2, abs(y) - sheet.height_mm / 2
    if max(over_x, over_y) <= 0:
        return away_towards(y, unit)
    if over_y >= over_x:
        side = "behind" if y > 0 else "in front of"
        return f"{show_length(over_y, unit)} {side} the sheet"
    return f"{show_length(over_x, unit)} {RIGHT if x > 0 else LEFT} of the sheet"
