"""What a rig file keeps of the plan that made it."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping


@dataclass(frozen=True, kw_only=True)
class RecordedTolerance:
    """How far one dimension of one element may be off: `minus` below, `plus` above (both >= 0)."""

    element: str
    dimension: str
    minus: float
    plus: float


@dataclass(frozen=True, kw_only=True)
class PlanRecord:
    """What planning found, kept so that the same light can be built again.

    Parameters
    ----------
    score : float or None
        Predicted score, 0 to 100.
    yield_share : float or None
        Share of builds that come out right, 0 to 1.
    good_score : float or None
        What a build had to score to count as right.
    measures : mapping of str to float
        Predicted measures, the unit in the name.
    tolerances : tuple of Tolerance
    critical : tuple of (str, str)
        (element, dimension), the measurement that matters most first.
    rig_digest : str
        Of the rig that was planned, to tell whether it was changed since; "" when not known.
    made_with, stopped_because : str
        The tool's version, and why the search ended.
    """

    score: float | None = None
    yield_share: float | None = None
    good_score: float | None = None
    measures: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    tolerances: tuple[RecordedTolerance, ...] = ()
    critical: tuple[tuple[str, str], ...] = ()
    rig_digest: str = ""
    made_with: str = ""
    stopped_because: str = ""
