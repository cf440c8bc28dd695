"""Light from outside that hides in the error which the model is granted.

Foil is granted a tenth of a stop, paper a thirtieth, which the hardest sets need. Where a plan
leaves far less than that, the photograph itself says that the model errs less here, and light
from outside that is spread over the sheet shows in what is left: under a window for a lamp it
looks like a brighter day that falls a little otherwise. So the photograph is looked at once more
with a smaller error granted, if the light on its paper is off as the plan's own things cannot
make it.
"""

from __future__ import annotations

import copy
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.fit import Columns
from lightplan.estimate.light_store import BRUSHED

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.estimate.search import FitSearch

FAINT_MISFIT = 0.5
"""Of the granted error: a plan that leaves more does not say that the model errs less. Ours."""
GRANTED = 0.15
"""Share of the error, granted then: with it the best explanations of photographs that leave so
little are off by 0.4 to 1.0 of a standard deviation (50 photographs of six plans)."""
UNLIKE = 10.0
"""Of cost, that smooth light on the paper must explain: 8 at the most on 22 builds without a slip
that leave so little, 14 and more on six with light from outside that cost 3 points."""
_SMOOTH = 3.0  # standard deviation of that light, in tenths of what clips
_PER_MM = 0.01  # it changes along the sheet by as much in 100 mm


def hides_little(search: FitSearch, plan: Hypothesis) -> bool:
    """Whether a plan fits so well that the model must err less than it is granted."""
    fitter = search.fitter
    alone = fitter.count == 1 and fitter.on_sheet == len(fitter.seen)
    brushed = max(search.rig.sheet.foil.roughness) >= BRUSHED
    return alone and not brushed and plan.fitted.misfit <= FAINT_MISFIT


def closer(search: FitSearch) -> FitSearch:
    """Return a search in the same photograph that grants the model less; light is shared."""
    found = copy.copy(search)
    found.fitter = replace(search.fitter, steady=GRANTED * search.fitter.steady)
    return found


def lit_otherwise(search: FitSearch) -> bool:
    """Whether smooth light beside that of the plan explains much of what is seen of the paper."""
    fitter = search.fitter
    plan = search.as_planned()
    columns = search.hand.joined(_smooth(search, plan.light))
    with_more = fitter.fit(plan.light, columns, plan.fitted.exposure)
    return plan.fitted.cost - with_more.cost > UNLIKE


def _smooth(search: FitSearch, light: Doubles) -> Columns:
    """Return what even light, and light that grows along the sheet, does to the paper's levels."""
    seen = search.fitter.seen
    paper = ~seen.is_foil
    share = 0.1 * search.fitter.clip_cd_m2 / np.maximum(light, 1e-9) / math.log(2)
    fields = (np.ones(len(seen)), _PER_MM * seen.x_mm, _PER_MM * seen.y_mm)
    values = np.stack([share * (paper * field)[:, None] for field in fields], axis=-1)
    names = [("smooth light", name) for name in ("even", "along x", "along y")]
    return Columns.of(names, values, [_SMOOTH] * len(fields))
