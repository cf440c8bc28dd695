"""Units at the edges: lengths the maker reads, angles, and stops."""

from __future__ import annotations

import math
from typing import Literal, TypeAlias

LengthUnit: TypeAlias = Literal["mm", "cm", "in"]

_MM_PER: dict[LengthUnit, float] = {"mm": 1.0, "cm": 10.0, "in": 25.4}
_DECIMALS: dict[LengthUnit, int] = {"mm": 0, "cm": 1, "in": 1}


def show_length(length_mm: float, unit: LengthUnit = "mm") -> str:
    """Return a length as a maker reads it off a tape.

    >>> show_length(336.4), show_length(336.4, "cm"), show_length(336.4, "in")
    ('336 mm', '33.6 cm', '13.2 in')
    """
    value = round(length_mm / _MM_PER[unit], _DECIMALS[unit]) + 0.0  # no "-0"
    return f"{value:.{_DECIMALS[unit]}f} {unit}"


def to_mm(length: float, unit: LengthUnit) -> float:
    """Return millimetres.

    >>> to_mm(2, "in")
    50.8
    """
    return length * _MM_PER[unit]


def stops(ratio: float) -> float:
    """Return a ratio of light as stops (doublings).

    >>> stops(8.0)
    3.0
    """
    return math.log2(ratio)


def from_stops(count: float) -> float:
    """Return the ratio of light for a number of stops.

    >>> from_stops(-1.0)
    0.5
    """
    return float(2.0**count)
