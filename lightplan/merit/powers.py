"""Exact lamp powers: light is linear, so the best powers are a bounded least-squares solution.

Two knobs: lamps that light what the foil sees move the foil, lamps outside the family of
angles move the paper. Given what each lamp alone does to paper and foil, the powers that
come nearest to a wanted picture follow without search.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, kw_only=True, eq=False)
class Powers:
    """Powers of the lamps and how near they come.

    Parameters
    ----------
    trim_stops : (l,) float
        Setting of each lamp; a lamp that is better off carries its lowest trim and
        stands in `off`.
    off : (l,) bool
        Lamps that the solution does not need at all.
    residual : float
        Root mean square distance from the target, in the units of the target.
    """

    trim_stops: Doubles
    off: Doubles
    residual: float


def solve_powers(
    unit_light: Doubles,
    ambient: Doubles,
    target: Doubles,
    *,
    low_stops: Sequence[float],
    high_stops: Sequence[float],
    may_switch_off: Sequence[bool] | None = None,
    weights: Doubles | None = None,
) -> Powers:
    """Return the powers that bring the light nearest to a target.

    Minimises sum of weights * (ambient + sum_l 2**trim_l * unit_light_l - target)**2
    with each trim in its limits.

    Parameters
    ----------
    unit_light : (l, n) float
        Light of each lamp alone at trim 0, at n places (of paper and foil together).
    ambient : (n,) float
        Light that is there without the lamps.
    target : (n,) float
        Light that is wanted, in the same unit.
    low_stops, high_stops : (l,) float
        Limits of the trims; equal values fix a lamp.
    may_switch_off : (l,) bool or None
        Lamps whose lower limit is no light at all; None: none.
    weights : (n,) float or None
        Importance of each place; None: all equal.
    """
    count = len(unit_light)
    scale = np.ones(len(target)) if weights is None else np.sqrt(weights)
    switch = np.zeros(count, bool) if may_switch_off is None else np.asarray(may_switch_off)
    lowest, highest = np.exp2(np.asarray(low_stops)), np.exp2(np.asarray(high_stops))
    lower = np.where(switch, 0.0, lowest)
    matrix, wanted = (unit_light * scale).T, (target - ambient) * scale
    off = switch & (_bounded(matrix, wanted, lower, highest) < lowest / 2)
    # Off or at least the lowest setting: solve again for those that stay on.
    power = _bounded(matrix, wanted, np.where(off, 0.0, lowest), np.where(off, 0.0, highest))
    miss = (matrix @ power - wanted) / np.sqrt(np.mean(scale**2))
    trims = np.log2(np.where(off, lowest, power))
    return Powers(
        trim_stops=read_only(trims),
        off=read_only(off, bool),
        residual=float(np.sqrt(np.mean(miss**2))),
    )


def solve_ratios(
    unit_light: Doubles,
    fixed_light: Doubles,
    target: Doubles,
    *,
    low_stops: Sequence[float],
    high_stops: Sequence[float],
    weights: Doubles | None = None,
) -> Doubles:
    """Return trims whose mix has the wanted proportions, where the exposure follows the light.

    Minimises sum of weights * (s (fixed + sum_l 2**trim_l * unit_light_l) - target)**2 over
    the powers and the exposure's factor s >= 0. With q_l = s 2**trim_l this is linear in
    (s, q), so the answer is exact; where it leaves s free (no fixed light), the lamps are
    set as high as they may go. Trims are then clipped to their limits.

    Parameters
    ----------
    unit_light : (l, n) float
        Light of each free lamp alone at trim 0.
    fixed_light : (n,) float
        Light of everything that cannot be dimmed.
    target : (n,) float
        Wanted proportions.

    Returns
    -------
    (l,) float
    """
    from scipy.optimize import nnls  # slow to import: most processes ask for no powers

    count = len(unit_light)
    scale = np.ones(len(target)) if weights is None else np.sqrt(weights)
    matrix = (np.vstack([unit_light, fixed_light]) * scale).T
    size = np.linalg.norm(matrix, axis=0)
    used = size > 1e-9 * size.max(initial=1e-30)
    mix = np.zeros(count + 1)
    mix[used] = nnls(matrix[:, used] / size[used], target * scale)[0] / size[used]
    highest = np.exp2(np.asarray(high_stops))
    lit = mix[:count] > 0
    strongest = float(np.min(highest[lit] / mix[:count][lit])) if lit.any() else 1.0
    gain = strongest if mix[count] <= 0 else min(1 / mix[count], strongest)
    power = np.maximum(gain * mix[:count], 1e-12)
    return np.asarray(np.clip(np.log2(power), low_stops, high_stops))


def _bounded(matrix: Doubles, wanted: Doubles, lower: Doubles, upper: Doubles) -> Doubles:
    """Bounded least squares; lamps that cannot be changed are moved to the right side."""
    from scipy.optimize import lsq_linear  # slow to import

    power = np.array(upper, float)
    free = upper > lower * (1 + 1e-12)
    if free.any():
        rest = wanted - matrix[:, ~free] @ upper[~free]
        # Columns of like size keep the active-set method well conditioned.
        size = np.linalg.norm(matrix[:, free], axis=0)
        size = np.where(size > 0, size, 1.0)
        found = lsq_linear(
            matrix[:, free] / size, rest, (lower[free] * size, upper[free] * size), method="bvls"
        )
        power[free] = found.x / size
    return np.asarray(np.clip(power, lower, upper))
