"""Which arrangement of a cupboard is planned: the best few are searched beside each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.planning.choosing import Arranged, candidates, varied
from lightplan.planning.effort import Effort, SearchJob, SearchProgress
from lightplan.planning.heat import FINALISTS, OVERTAKES, Finalist, Heat, Runner
from lightplan.planning.roaming import roaming, settled

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.planning.cupboard import Cupboard
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig

QUICK_SHARE = 0.26
"""Of a quick plan's evaluations, for each of the arrangements that are searched first."""
FIRST_SHARE, FINAL_SHARE, LAST_SHARE = 0.2, 0.35, 0.3
"""Of the evaluations: for each arrangement whose things roam first, from many points and a step
or two; for each of the best that roams on; and what the best of all gets to settle in.
Where nothing but one look decided, plans from bare cupboards ended up to 40 points below the
same things arranged by hand, and 7 below where things could not go far
(`tests/benchmarks/cupboards.py`)."""
OF_A_KIND = 2
"""Arrangements of a kind that are searched: what differs in places alone, roaming finds."""
OWN_WITHIN = 0.03
"""Of the value, by which the maker's own arrangement may be worse than the best and goes on all the
same: it was third on one shipped rig, and best by 2 points once it had gone on."""
SETTLES_SHARE = 0.5
"""Of the evaluations, for an arrangement that settles at once."""


def evaluations_of(effort: Effort) -> float:
    """Return about how many rigs are looked at altogether, those of all arrangements.

    >>> round(evaluations_of(Effort(evaluations=100)))
    240
    """
    if effort.is_quick or effort.searched <= FINALISTS:
        return effort.evaluations
    shares = effort.searched * FIRST_SHARE + FINALISTS * FINAL_SHARE + LAST_SHARE
    return effort.evaluations * shares


def chosen(judges: Judges, job: SearchJob, cupboard: Cupboard) -> list[Finalist]:
    """Return the arrangement that is best once searched, and those that are nearly as good.

    Best first; none where nothing can be built.
    """
    heat = searched(judges, job, cupboard)
    return heat.outcome() if heat.stands else []


def searched(judges: Judges, job: SearchJob, cupboard: Cupboard) -> Heat:
    """Return arrangements as their searches stand; none where nothing can be built.

    The first few take a step or two each, the best of them go on, and the best of these get the
    rest.
    """
    _tell(job, "looking at arrangements", 0, cupboard.given)
    ranked = candidates(judges, cupboard, quick=job.effort.is_quick, should_stop=job.should_stop)
    heat = Heat(judges, job, cupboard, evaluations_of(job.effort))
    if ranked:
        is_quick = job.effort.is_quick or job.effort.searched <= FINALISTS
        search = _quickly if is_quick else _thoroughly
        search(heat, ranked)
    return heat


def rivals(heat: Heat, winner: Finalist, value: float) -> list[Finalist]:
    """Return what else may be planned where builds of the winner are worth less, settled too.

    A search makes its arrangement best as it is drawn. Where that is at an edge over which builds
    fall, what is drawn for a little less may be built for more.

    Parameters
    ----------
    value : float
        What builds of the winner are worth in the mean, as the search has it.
    """
    near = heat.rivals(winner, value)
    heat.further([_settling(heat, one, SETTLES_SHARE) for one in near if one not in heat.ended])
    return [heat.finalist(one) for one in near]


def _quickly(heat: Heat, ranked: Sequence[Arranged]) -> None:
    """Search the first arrangements within what each leaves free, and the best of them further."""
    effort = heat.job.effort
    share = 0.5 if effort.searched == 1 else QUICK_SHARE
    of_a_kind = 1 if effort.is_quick else OF_A_KIND
    first = varied(ranked, effort.searched, of_a_kind=of_a_kind)
    heat.enter([Runner(one, one.rig, round(share * effort.evaluations)) for one in first])
    if not heat.stands:
        return
    near = heat.close(1 if effort.is_by_eye else FINALISTS, OVERTAKES)
    left = (effort.evaluations - heat.used) // len(near)
    spread = not effort.is_quick
    heat.further([Runner(one, heat.stands[one].rig, left, spread=spread) for one in near])


def _thoroughly(heat: Heat, ranked: Sequence[Arranged]) -> None:
    """Let things roam in the first arrangements, then in the best, and settle the best of all."""
    effort, narrowed = heat.job.effort, heat.cupboard.narrowed
    count = round(FIRST_SHARE * effort.evaluations)
    first = varied(ranked, effort.searched, of_a_kind=OF_A_KIND)
    roams = [Runner(one, roaming(one.rig, narrowed), count, spread=True) for one in first]
    heat.enter(roams, heat.may_win, heat.left_behind)
    if not heat.stands:
        return
    count = round(FINAL_SHARE * effort.evaluations)
    first = [*heat.close(FINALISTS), *heat.own(OWN_WITHIN)]
    finalists = [one for one in dict.fromkeys(first) if not heat.is_nearly_there(one)]
    heat.further([Runner(one, heat.stands[one].rig, count, spread=True) for one in finalists])
    near = heat.close(FINALISTS, OVERTAKES)
    shares = [LAST_SHARE if one in finalists else SETTLES_SHARE for one in near]
    heat.further([_settling(heat, one, share) for one, share in zip(near, shares, strict=True)])


def _settling(heat: Heat, one: Arranged, share: float) -> Runner:
    """Return an arrangement that settles where it stands, with a share of the evaluations."""
    rig = settled(one.rig, heat.stands[one].best_rig, heat.cupboard.narrowed)
    return Runner(one, rig, round(share * heat.job.effort.evaluations), is_last=True)


def _tell(job: SearchJob, stage: str, done: int, rig: Rig) -> None:
    if job.progress is not None:
        job.progress(
            SearchProgress(stage=stage, done=done, of=job.effort.evaluations, score=0.0, rig=rig)
        )
