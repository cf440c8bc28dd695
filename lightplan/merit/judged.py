"""A rig that was judged, and the value that a search makes small."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.measures import judge

if TYPE_CHECKING:
    from lightplan.measures import Judgement, Measures
    from lightplan.scene import Rig

WORST = 50.0
"""Value of the worst rig that can be built; what cannot be built lies above."""
MM_PER_VALUE = 25.0
FORGIVEN_MM = 0.5


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A rig and what it is worth.

    Parameters
    ----------
    rig : Rig
        As judged; powers are set where they were solved.
    merit : float
        From the measures, as it stands and clipped by a little more light; larger is better.
    excess_mm : float
        Broken limits, summed.
    measures : Measures
    """

    rig: Rig
    merit: float
    excess_mm: float
    measures: Measures

    @property
    def value(self) -> float:
        """What the search makes small; any rig that can be built beats any that cannot."""
        if self.excess_mm > FORGIVEN_MM:
            return unbuildable(self.excess_mm)
        return min(-self.merit, WORST)

    @property
    def judgement(self) -> Judgement:
        """The verdict, as for a photograph."""
        return judge(self.measures, self.rig.look)

    @property
    def score(self) -> float:
        """0 to 100; 0 where nothing can be judged."""
        score = self.judgement.score
        return 0.0 if score is None else score


def unbuildable(excess_mm: float) -> float:
    """Return the value of a rig that breaks limits by this much."""
    return WORST + 1.0 + excess_mm / MM_PER_VALUE
