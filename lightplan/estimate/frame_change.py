"""What has changed between two frames of one set, from the difference of their squared pictures.

Frame against frame tells far more than frame against model: what the model does not know of
paper, foil and camera is the same in both and falls out. The model gives only what a change of
each thing does to the light, about the rig as the earlier frame shows it.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.drift_search import MUCH, SLOPE_SHARE, lens_step, search_between
from lightplan.estimate.elsewhere import Elsewhere
from lightplan.estimate.estimating import slips_of
from lightplan.estimate.found import Estimate, Rival
from lightplan.estimate.telling import unseen_of
from lightplan.progress import Progress, Watch, unwatched
from lightplan.scene.slips import slipped

if TYPE_CHECKING:
    from lightplan.estimate.drift_search import DriftSearch, FramePair
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.scene.foreign import Foreign

MOST_THINGS = 3
COST_OF_CHANGE = 9.0
"""What one change more must explain, in twice the log likelihood. In 72 frames of sets that nobody
touched the best of some thirty changes explains 1.2 on average by chance, 4 at the most, in smaller
pictures 8."""
LEAST_SHARE = 0.06
"""Of what the dearest change explains, what another must: the model's own slopes are off."""
CURVE_COST = 4.0
"""What a camera's other curve must explain beyond the best that may have moved. Ours."""
RIVAL_SHARE = 0.05  # of belief, from which another explanation is told


def drifted(
    then: Estimate, pair: FramePair, *, clip_cd_m2: float, watch: Watch = unwatched
) -> Estimate:
    """Return what has changed since an earlier frame of the same set.

    Parameters
    ----------
    then : Estimate
        Of the earlier frame.
    pair : FramePair
    clip_cd_m2 : float
        Luminance that clips as the earlier frame was taken.
    watch : callable
        Told what is being done; may raise `Stopped`.

    Returns
    -------
    Estimate
        The rig as the earlier frame shows it takes the plan's place; the camera is told beside
        the earlier one, its tone curve and vignette as they are.
    """
    watch(Progress(stage="comparing the two photographs"))
    search = _of_one_camera(search_between(then, pair, clip_cd_m2=clip_cd_m2))
    best, rivals, most = search.as_planned(), [], 0.0
    while best.slips < MOST_THINGS:
        watch(Progress(stage="looking for what has moved", done=best.slips, of=MOST_THINGS))
        grown = search.grown(best)
        won = _won(grown[0], best) if grown else 0.0
        if won < max(COST_OF_CHANGE, LEAST_SHARE * most):
            break
        most = max(most, won)
        best, rivals = grown[0], [h for h in grown[1:] if h.elements != grown[0].elements]
    foreign = None
    if best.fitted.misfit > MUCH:
        watch(Progress(stage="looking for light that was not there"))
        foreign = _outside(search, best)
    return _told(then, pair, search, best, rivals, foreign, clip_cd_m2)


def _of_one_camera(search: DriftSearch) -> DriftSearch:
    """Return the search, loosened where another tone curve explains more than anything that moved.

    It is not one camera at the same settings then, or one that makes a curve for each picture.
    """
    plan, other = search.as_planned(), search.loosened()
    left = other.as_planned()
    if _won(left, plan) < COST_OF_CHANGE:
        return search
    grown = search.grown(plan)
    return other if not grown or _won(left, grown[0]) >= CURVE_COST else search


def _won(one: Hypothesis, over: Hypothesis) -> float:
    """Return what a hypothesis explains beyond another, errors as large as it leaves them."""
    return (over.misfit - one.misfit) / max(1.0, one.fitted.misfit) ** 2


def _outside(search: DriftSearch, best: Hypothesis) -> tuple[Hypothesis, Foreign] | None:
    """Return light that has come from outside, where it leaves half of what changes leave."""
    found = Elsewhere(search).best(search.as_planned(), best.cost)
    if found is None or found[0].fitted.misfit > 0.5 * best.fitted.misfit:
        return None
    return found


def _told(
    then: Estimate,
    pair: FramePair,
    search: DriftSearch,
    best: Hypothesis,
    rivals: list[Hypothesis],
    foreign: tuple[Hypothesis, Foreign] | None,
    clip_cd_m2: float,
) -> Estimate:
    if foreign is not None:
        best, rivals = foreign[0], []
    gaps = np.array([_won(best, h) for h in rivals])
    shares = np.exp(-0.5 * np.concatenate([[0.0], gaps]))
    shares /= shares.sum()
    wide = max(1.0, best.fitted.misfit)
    slips = tuple(
        replace(s, uncertainty=math.hypot(wide * s.uncertainty, SLOPE_SHARE * s.value))
        for s in slips_of(search, best, dict.fromkeys(best.elements, float(shares[0])))
    )
    camera = best.fitted.values
    known = math.log2(clip_cd_m2 / search.fitter.clip_cd_m2)
    red, blue = search.colour_step(camera)
    place = lens_step(search.rig, pair)
    return Estimate(
        planned=search.rig,
        as_built=slipped(search.rig, {(s.element, s.dimension): s.value for s in slips}),
        hand={},
        slips=slips,
        as_planned=not best.values,
        foreign=() if foreign is None else (foreign[1],),
        camera=replace(
            then.camera,
            exposure_stops=known + camera["camera's", "exposure"],
            exposure_sigma=best.fitted.sigmas["camera's", "exposure"],
            balance_stops=red - blue,
            red_stops=red,
            blue_stops=blue,
        ),
        lens_mm=place.offset_mm,
        lens_sigma_mm=np.sqrt(np.diag(place.covariance)),
        rivals=tuple(
            Rival(slips_of(search, h, dict.fromkeys(h.elements, float(b))), float(b))
            for h, b in zip(rivals, shares[1:], strict=True)
            if b > RIVAL_SHARE
        )[:2],
        misfit=best.fitted.misfit,
        seen=pair.after.seen,
        residual=best.fitted.residual,
        doubts=() if foreign is not None else unseen_of(search, best),
    )
