"""Published limits for pictures of flat originals, beside the measures they apply to.

As quoted in secondary sources; no paid standard was opened. ISO 19264-1 evenness limits were
not found and are not invented. The two kinds of evenness limit are not interchangeable: FADGI's
is a standard deviation over mean, Metamorfoze's a difference of L*. They are stricter than a
picture for a shop needs; the score does not turn on them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lightplan.measures.measure import Measures

# Longer side of the format, limit of the L* difference.
_EVENNESS_BY_FORMAT = (
    (420.0, "A3", 3.0),
    (594.0, "A2", 4.0),
    (841.0, "A1", 5.0),
    (1189.0, "A0", 6.0),
)

_LADDERS: tuple[tuple[str, str, tuple[tuple[str, float], ...]], ...] = (
    (
        "FADGI lightness uniformity",
        "paper_variation_share",
        (("4 stars", 0.01), ("3 stars", 0.03), ("2 stars", 0.05), ("1 star", 0.08)),
    ),
    (
        "FADGI white balance",
        "paper_cast_Cab",
        (("4 stars", 2.0), ("3 stars", 4.0), ("2 stars", 6.0), ("1 star", 8.0)),
    ),
    ("ISO 19264-1 white balance", "paper_cast_Cab", (("A", 3.0), ("B", 4.0), ("C", 5.0))),
    (
        "Metamorfoze white balance",
        "paper_cast_Cab",
        (("Full and Light", 3.0), ("Extra Light", 5.0)),
    ),
    ("Metamorfoze lightest value", "paper_lightness_Lstar", (("kept", 98.0),)),
)


@dataclass(frozen=True, slots=True)
class LimitCheck:
    """How a picture stands against one published limit.

    Parameters
    ----------
    name, measure : str
    value : float
        In the measure's unit.
    grade : str or None
        The best grade that is reached; None when not even the last one is.
    limit : float
        The limit of that grade, or of the last grade.
    """

    name: str
    measure: str
    value: float
    grade: str | None
    limit: float


def published_limits(measures: Measures, *, long_side_mm: float) -> tuple[LimitCheck, ...]:
    """Return how the paper of a picture stands against the published limits.

    Examples
    --------
    >>> from lightplan.measures.measure import Measures
    >>> found = published_limits(Measures({"paper_variation_share": (0.04, 0.0)}), long_side_mm=210)
    >>> found[0].name, found[0].grade
    ('FADGI lightness uniformity', '2 stars')
    """
    found = [
        _on_ladder(name, measure, measures[measure].value, ladder)
        for name, measure, ladder in _LADDERS
        if measure in measures
    ]
    name = "paper_lightness_range_Lstar"
    formats = [(sheet, limit) for side, sheet, limit in _EVENNESS_BY_FORMAT if long_side_mm <= side]
    if name in measures and formats:
        sheet, limit = formats[0]
        ladder = ((f"Full and Light, up to {sheet}", limit),)
        found.append(_on_ladder("Metamorfoze evenness", name, measures[name].value, ladder))
    return tuple(found)


def _on_ladder(
    name: str, measure: str, value: float, ladder: tuple[tuple[str, float], ...]
) -> LimitCheck:
    for grade, limit in ladder:
        if value <= limit:
            return LimitCheck(name, measure, value, grade, limit)
    return LimitCheck(name, measure, value, None, ladder[-1][1])
