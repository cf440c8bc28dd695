"""What a plan changes, in the words of the setup sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.reports.setup.steps import DIMENSION_WORDS, power_words
from lightplan.units import LengthUnit, show_length
from lightplan.words.places import away_towards, left_right

if TYPE_CHECKING:
    from lightplan.planning.result import PlannedMove

MOVED_WORDS = {
    "z_mm": "height of its middle ",
    "aim_x_mm": "aims at a point ",
    "aim_y_mm": "aims at a point ",
    "aim_z_mm": "aims at a height of ",
    "width_mm": "width ",
    "height_mm": "length ",
    "hole_mm": "hole ",
}


def dimension_words(dimension: str) -> str:
    """Return the name of a dimension as the setup sheet has it.

    >>> dimension_words("bow_mm"), dimension_words("y_mm")
    ('bow', 'towards/away')
    """
    return DIMENSION_WORDS.get(dimension, dimension)


def move_line(move: PlannedMove, unit: LengthUnit = "mm") -> str:
    """Return one change of a plan, in the words of the setup sheet.

    >>> from lightplan.planning.result import PlannedMove
    >>> move_line(PlannedMove(element="softbox", dimension="x_mm", before=-480.0, after=-350.4))
    'softbox: 350 mm left (was 480 mm left)'
    >>> move_line(PlannedMove(element="key", dimension="trim_stops", before=0.0, after=-1.0))
    'key: 1 stop below full power, 50 % of its light (was full power)'
    """
    before, after = (_setting(move.dimension, v, unit) for v in (move.before, move.after))
    what = MOVED_WORDS.get(move.dimension, "")
    return f"{move.element}: {what}{after} (was {before})"


def _setting(dimension: str, value: float, unit: LengthUnit) -> str:
    if dimension == "trim_stops":
        return power_words(round(value, 2))
    if dimension.endswith("x_mm"):
        return left_right(value, unit)
    if dimension.endswith("y_mm"):
        return away_towards(value, unit)
    return show_length(value, unit)
