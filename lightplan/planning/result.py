"""What planning gives back: a plan, or the reason why there is none."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping

    from lightplan.measures import Judgement
    from lightplan.scene import Rig
    from lightplan.scene.clearance import Limit


@dataclass(frozen=True, kw_only=True)
class PlannedMove:
    """One dimension that changes from the rig that was given to the planned one.

    `before` and `after` are in mm, or stops for `trim_stops`.
    """

    element: str
    dimension: str
    before: float
    after: float


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How far one dimension may be off, alone, while the build still comes out right.

    Parameters
    ----------
    element, dimension : str
        Dimensions as in the rig file, and "turn_deg", "lean_deg" (about the vertical and
        about its own horizontal edge), "power_stops" and "bow_mm".
    minus, plus : float
        Both 0 or more; at most what was followed, see
        `lightplan.scene.setting_errors.matters_little`.
    loss : float
        Points of score that one usual error of hand costs, alone.
    """

    element: str
    dimension: str
    minus: float
    plus: float
    loss: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Robustness:
    """What setting errors do to a plan.

    Parameters
    ----------
    yield_share : float
        Share of builds with usual errors (a tape measure) whose score reaches `good_score`.
    yields : mapping of str to float
        The same by hand: "careful", "tape" and "by eye".
    good_score : float
        What a build must reach.
    mean_score, worst_score : float
        Over the builds that were tried; the worst of 20 in 20.
    builds : int
        How many were tried.
    tolerances : tuple of Tolerance
        What matters most first.
    critical : tuple of (str, str)
        (element, dimension), the measurement that matters most first.
    """

    yield_share: float
    yields: Mapping[str, float]
    good_score: float
    mean_score: float
    worst_score: float
    builds: int
    tolerances: tuple[Tolerance, ...]
    critical: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """A planned rig and what is promised of it.

    Parameters
    ----------
    rig : Rig
        With places, sizes and powers set.
    score : float or None
        Predicted, 0 to 100.
    start_score : float or None
        Of the rig that was given.
    judgement : Judgement
    measures : mapping of str to float
        Predicted measures, the unit in the name.
    moves : tuple of Move
        From the given rig, largest first.
    left_out : tuple of str
        Elements that the plan does without.
    robustness : Robustness
    covered : mapping of str to float
        Share of the foil that sees each thing.
    stopped_because : str
    evaluations : int
    limits : tuple of Limit
        Broken limits of things that cannot move (they were broken before).
    arrangement : str
        What was chosen from the cupboard, in the trade's words; empty where the rig's own
        freedoms were searched alone.
    brought_in : tuple of str
        What is owned and did not stand in the given rig.
    """

    rig: Rig
    score: float | None
    start_score: float | None
    judgement: Judgement
    moves: tuple[PlannedMove, ...]
    robustness: Robustness
    stopped_because: str
    evaluations: int
    measures: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    covered: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    left_out: tuple[str, ...] = ()
    limits: tuple[Limit, ...] = ()
    arrangement: str = ""
    brought_in: tuple[str, ...] = ()

    @property
    def yield_share(self) -> float:
        """Share of builds that come out right."""
        return self.robustness.yield_share

    @property
    def tolerances(self) -> tuple[Tolerance, ...]:
        """How far each dimension may be off."""
        return self.robustness.tolerances


@dataclass(frozen=True, kw_only=True, eq=False)
class NoPlan:
    """Why there is no plan, and the nearest wish that works.

    A false result that explains itself; it is returned, not raised.

    Parameters
    ----------
    in_the_way : tuple of Limit
        What stays broken in the best try, worst first.
    reason : str
        One sentence.
    wish : str
        The nearest change that makes a plan possible, one sentence; "" if none was found.
    nearest : Plan or None
        The plan with that change.
    """

    in_the_way: tuple[Limit, ...]
    reason: str
    wish: str
    nearest: Plan | None

    def __bool__(self) -> bool:
        """Return False: there is no plan."""
        return False
