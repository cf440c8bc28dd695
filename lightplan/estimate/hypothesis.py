"""What is held to be off in a photograph, and what that costs."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.fit import Fitted
    from lightplan.estimate.solving import Name

COST_PER_SLIP = 8.5
"""What one thing more must explain, in units of twice the log likelihood; ours, from trials."""


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """What is held to be off, and how well that explains the photograph.

    Attributes
    ----------
    values : dict
        Off the plan by so much, by (element, dimension); what is missing has ("name",
        "missing"): 1.
    fitted : Fitted
    slips : int
        Things that are off.
    """

    values: dict[Name, float]
    fitted: Fitted
    slips: int
    misfit: float
    light: Doubles = field(repr=False)

    @property
    def cost(self) -> float:
        """Cost of the fit and of the slips."""
        return self.misfit + COST_PER_SLIP * self.slips

    @property
    def elements(self) -> tuple[str, ...]:
        """What is off."""
        return tuple(dict.fromkeys(element for element, _ in self.values))


def one_each(found: Sequence[Hypothesis]) -> list[Hypothesis]:
    """Return the best hypothesis of each set of dimensions, order kept."""
    kept: dict[frozenset[Name], Hypothesis] = {}
    for one in found:
        kept.setdefault(frozenset(one.values), one)
    return list(kept.values())
