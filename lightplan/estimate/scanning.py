"""Many rigs fitted roughly to one photograph, by the slopes and weights of one of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import to_stops
from lightplan.estimate.solving import HEAVY

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles
    from lightplan.estimate.fit import Fitter

SCAN_ROUNDS = 3


@dataclass(frozen=True, eq=False)
class Scan:
    """Fits many rigs roughly: slopes and weights of one rig serve all.

    Attributes
    ----------
    rows : (3 n, k) float
        What each small thing does to the data, in stops.
    inverse, information : (k, k) float
        Of the normal equations; what is known before.
    precision, weight, spread : (3 n,) float
        Of the data.
    pull : (k,) float
    apart, exposure : float
    ended : (3 n,) bool
    """

    fitter: Fitter
    rows: Doubles
    inverse: Doubles
    information: Doubles
    precision: Doubles
    weight: Doubles
    spread: Doubles
    pull: Doubles
    apart: float
    exposure: float
    ended: Booleans

    def costs(self, light: Doubles) -> Doubles:
        """Return the cost of light (m, n, 3), (m,); see `Fitted.cost`."""
        model = to_stops(light * 2.0**self.exposure, self.fitter.clip_cd_m2)
        aim = (self.fitter.seen.stops - model).reshape(len(light), -1)
        told = np.zeros_like(aim)
        share: Doubles | float = 1.0
        for _ in range(SCAN_ROUNDS):
            # what is far off counts less, by the same slopes: a share of it is believed
            believed = told + share * (aim - told)
            values = ((believed * self.precision) @ self.rows + self.pull) @ self.inverse
            told = values @ self.rows.T
            away = (aim - told) / self.spread
            away = np.where(self.ended & (away < 0), 0.0, away)
            share = np.where(self.ended & (aim < told), 0.0, 1 / (1 + (away / HEAVY) ** 2))
        cost = (self.weight * HEAVY**2 * np.log1p((away / HEAVY) ** 2)).sum(axis=1)
        prior = ((values @ self.information) * values).sum(axis=1) - 2 * values @ self.pull
        return np.asarray(cost + prior + self.apart)
