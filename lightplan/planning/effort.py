"""How hard to search, and what is told on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.progress import Progress
from lightplan.scene.setting_errors import SettingErrors

if TYPE_CHECKING:
    from lightplan.scene import Rig


@dataclass(frozen=True, kw_only=True)
class Effort:
    """How hard to search.

    Parameters
    ----------
    evaluations : int
        Rigs whose light is traced in the search.
    seconds : float or None
        Longest time for the search; with a limit the plan may differ from run to run.
    polish : int
        Rigs whose light is traced finer at the end.
    builds : int
        Builds with errors, for the yield.
    helpers : int
        Processes besides this one; the plan does not depend on it.
    tolerance : float
        Share of the score that is not worth searching for.
    searched : int
        Arrangements, of those that can be made of a cupboard, that are searched within.
    is_quick : bool
        Fewer arrangements are looked at, and tolerances come from the nearest errors alone.
    is_by_eye : bool
        For a comparison of plans by eye: the score is that of the search's finer light.
    """

    evaluations: int = 240
    seconds: float | None = None
    polish: int = 20
    builds: int = 256
    helpers: int = 0
    tolerance: float = 0.002
    searched: int = 7
    is_quick: bool = False
    is_by_eye: bool = False


@dataclass(frozen=True, kw_only=True)
class SearchProgress(Progress):
    """How far a search has come, in evaluations, and what it has so far: score and rig."""

    score: float
    rig: Rig


QUICK = Effort(evaluations=100, polish=0, builds=128, searched=2, is_quick=True, is_by_eye=True)
"""Of one look of a proof sheet: good to a few points. Our choice."""
HOLOGRAPHIC = 0.45
"""Of the usual lights for a grating, each of which takes several times as long. Our choice."""


def effort_for(rig: Rig, *, evaluations: int | None = None, helpers: int = 0) -> Effort:
    """Return how hard to search for a rig, if nothing else is asked for."""
    effort = Effort(helpers=helpers)
    if rig.sheet.foil.grating is not None:
        count = round(HOLOGRAPHIC * effort.evaluations)
        effort = replace(effort, evaluations=count, searched=2, is_quick=True)
    return effort if evaluations is None else replace(effort, evaluations=evaluations)


Report = Callable[[SearchProgress], None]


@dataclass(frozen=True)
class SearchJob:
    """One call of the planner: effort, errors, seed, whom to tell, when to stop."""

    effort: Effort
    errors: SettingErrors
    seed: int
    progress: Report | None
    should_stop: Callable[[], bool]

    @classmethod
    def of(
        cls,
        seed: int,
        effort: Effort | None = None,
        errors: SettingErrors | None = None,
        progress: Report | None = None,
        should_stop: Callable[[], bool] | None = None,
    ) -> SearchJob:
        """Return a job with the usual where nothing is said."""
        return cls(
            Effort() if effort is None else effort,
            SettingErrors() if errors is None else errors,
            seed,
            progress,
            (lambda: False) if should_stop is None else should_stop,
        )
