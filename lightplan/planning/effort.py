"""How hard to search, and what is told on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lightplan.scene import Rig
from lightplan.scene.setting_errors import SettingErrors


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
    """

    evaluations: int = 180
    seconds: float | None = None
    polish: int = 20
    builds: int = 256
    helpers: int = 0
    tolerance: float = 0.002


@dataclass(frozen=True, kw_only=True)
class Progress:
    """What the search has so far: the stage, evaluations of how many, score, and the rig."""

    stage: str
    done: int
    of: int
    score: float
    rig: Rig


Report = Callable[[Progress], None]


@dataclass(frozen=True)
class Job:
    """One call of the planner: effort, errors, seed, whom to tell, when to stop."""

    effort: Effort
    errors: SettingErrors
    seed: int
    progress: Report | None
    should_stop: Callable[[], bool]
