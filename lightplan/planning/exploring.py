"""The search of one rig within its freedoms: shared by all processes, or whole in one."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import EngineModel
from lightplan.planning.choosing import share_of
from lightplan.planning.effort import Effort, SearchJob, SearchProgress
from lightplan.planning.starts import starts
from lightplan.scene.setting_errors import SettingErrors
from lightplan.search.minimise import StopRule
from lightplan.search.multistart import Explored, Stepper, explore
from lightplan.search.trust_region import Stand, survey, trials

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.arrays import Doubles
    from lightplan.light import Detail
    from lightplan.planning.effort import Report
    from lightplan.scene import Rig

_NOTHING = np.empty((0, 3), np.float32)


class Explorer(Stepper, Protocol):
    """Who judges the rigs of a search."""

    @property
    def bench(self) -> Bench:
        """The bench of the rig that is searched in."""
        ...


def explored(
    judges: Explorer,
    job: SearchJob,
    evaluations: int,
    begin_at: Sequence[Rig] | None = None,
    *,
    spread: bool = True,
    at_once: int | None = None,
    left_behind: float = np.inf,
) -> Explored | None:
    """Return the search of the judges' rig; None where nothing within its freedoms can be built.

    Parameters
    ----------
    begin_at : sequence of Rig or None
        With their powers; None: the closed forms of `starts`.
    spread : bool
        Whether points all over the box are looked at too.
    at_once : int or None
        Steps that are begun before it is asked again whether to stop; None: as many as
        processes can share.
    left_behind : float
        Value above which what it begins with is not worth a step.
    """
    bench = judges.bench
    if begin_at is None:
        points = [bench.with_own_powers(p) for p in starts(bench.rig, bench.space)]
    else:
        points = [bench.point_of(rig) for rig in begin_at]

    def tell(stand: Stand, used: int) -> None:
        if job.progress is not None:
            job.progress(
                SearchProgress(
                    stage="searching",
                    done=used,
                    of=evaluations,
                    score=100.0 * share_of(stand.value),
                    rig=bench.rig_at(stand.point),
                )
            )

    return explore(
        judges,
        points,
        dimensions=len(bench.space.geometry),
        seed=job.seed,
        on_best=tell,
        spread=spread,
        at_once=at_once,
        left_behind=left_behind,
        rule=StopRule(
            evaluations=evaluations,
            seconds=job.effort.seconds,
            tolerance=job.effort.tolerance,
            should_stop=job.should_stop,
        ),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Search:
    """A search that one process does whole.

    Parameters
    ----------
    rig : Rig
        With the freedoms that it is searched in.
    detail : Detail
    evaluations, seed : int
    begin_at : tuple of Rig or None
        As for `explored`.
    spread : bool
    seconds : float or None
    tolerance : float
        As of an `Effort`.
    left_behind : float
        As for `explored`.
    """

    rig: Rig
    detail: Detail
    evaluations: int
    seed: int
    begin_at: tuple[Rig, ...] | None
    spread: bool
    seconds: float | None
    tolerance: float
    left_behind: float = np.inf


@dataclass(frozen=True, eq=False)
class Searched:
    """What a search found, its stands without their light, and the rigs at these."""

    explored: Explored
    rigs: tuple[Rig, ...]


def searched(
    search: Search, should_stop: Callable[[], bool], progress: Report | None = None
) -> Searched | None:
    """Do a search with an engine of its own, so that it does not hang on what was lit before."""
    alone = _Alone(Bench(search.rig, EngineModel(search.rig, search.detail)))
    effort = Effort(seconds=search.seconds, tolerance=search.tolerance)
    job = SearchJob(effort, SettingErrors(), search.seed, progress, should_stop)
    found = explored(
        alone,
        job,
        search.evaluations,
        search.begin_at,
        spread=search.spread,
        at_once=1,
        left_behind=search.left_behind,
    )
    if found is None:
        return None
    bare = tuple(replace(s, values=_NOTHING, model=None) for s in found.stands)
    rigs = tuple(alone.bench.rig_at(stand.point) for stand in bare)
    return Searched(replace(found, stands=bare), rigs)


@dataclass(frozen=True, eq=False)
class _Alone:
    """Steps of a search, all taken in this process."""

    bench: Bench

    def begin(self, points: Sequence[Doubles], radius: float) -> list[Stand | None]:
        return [self.bench.begin(point, radius) for point in points]

    def step(self, stands: Sequence[Stand]) -> list[Stand]:
        surveyed = survey(self.bench, stands, len(self.bench.space.geometry))
        return [trials(self.bench, one) for one in surveyed]
