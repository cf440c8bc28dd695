"""What a search ended at, before anything is promised of it: simpler, polished, sturdier."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.planning.finishing import polished, put_down, simpler
from lightplan.planning.sturdier import sturdier

if TYPE_CHECKING:
    from lightplan.arrays import Singles
    from lightplan.merit.judged import Judged
    from lightplan.planning.effort import SearchJob
    from lightplan.planning.helper import Predicted
    from lightplan.planning.judging_pool import Judges
    from lightplan.scene import Rig


@dataclass(frozen=True, kw_only=True, eq=False)
class PlanEnd:
    """The rig that a search ended at.

    Parameters
    ----------
    rig : Rig
    light : (k, 3) float32
        What the measures read of its sheet, under the light of the last steps.
    left_out : tuple of str
    arrangement : str
        What it is, in words.
    lost : float
        Points that builds of it lose in the mean; 0 where none were traced.
    predicted : Predicted or None
        Its prediction, where it had to be known already.
    """

    rig: Rig
    light: Singles
    left_out: tuple[str, ...] = ()
    arrangement: str = ""
    lost: float = 0.0
    predicted: Predicted | None = None


def ended_at(judges: Judges, job: SearchJob, best: Judged, arrangement: str = "") -> PlanEnd:
    """Return the best rig of a search with fewer things, after its last steps.

    The judges use the finer light of a search's candidates.
    """
    best, left_out = simpler(judges, job, best)
    best, light = polished(judges, job, best)
    rig, light = put_down(judges, best.rig, light)
    lost = 0.0
    if job.effort.polish:
        rig, light, lost = sturdier(judges, job, rig, light)
    return PlanEnd(rig=rig, light=light, left_out=left_out, arrangement=arrangement, lost=lost)
