"""A fit that does not trust how much paper is seen in thin lines of foil, cell by cell.

A line a few pixels wide is seen with more or less of the paper beside it as pixels happen to lie
across it; on a sheet that was put back they lie otherwise, here so and there so. In each cell that
changes the three channels in a known proportion, that of foil to paper, by an unknown amount: the
data are turned so that one of three holds it, and only that one is doubted.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.fit import Columns, Fitted, Fitter

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.estimate.scanning import Scan
    from lightplan.estimate.solving import FitSystem


@dataclass(frozen=True, eq=False)
class FitterOfLines(Fitter):
    """Fits rigs to what changed in cells of which each is mixed otherwise than before.

    Parameters
    ----------
    mixed : (n, 3) float or None
        What one standard deviation of that does to a cell. [stops]
    """

    mixed: Doubles | None = None

    def system(self, light: Doubles, columns: Columns, exposure: float) -> FitSystem:
        """Return the linear system, its data turned cell by cell, in standard deviations."""
        one = super().system(light, columns, exposure)
        if self.mixed is None:
            return one
        spread = one.spread.reshape(-1, 3)
        turned, length = _turns(self.mixed / spread)
        rows = one.rows.reshape(*spread.shape, -1) / spread[..., None]
        aim = one.aim.reshape(spread.shape) / spread
        wide = np.ones_like(spread)
        wide[:, 0] = np.hypot(1.0, length)
        return replace(
            one,
            rows=(turned @ rows).reshape(one.rows.shape),
            aim=(turned @ aim[..., None]).ravel(),
            spread=wide.ravel(),
        )

    def fitted(self, system: FitSystem) -> Fitted:
        """Return what comes of a system, the residual in stops."""
        found = super().fitted(system)
        if self.mixed is None:
            return found
        spread = self._weights()[1].reshape(-1, 3)
        turned, _ = _turns(self.mixed / spread)
        back = (turned @ found.residual[..., None])[..., 0]  # a mirror undoes itself
        return replace(found, residual=back * spread)

    def scan(self, light: Doubles, columns: Columns, exposure: float) -> Scan:
        """Return what tells roughly how well rigs fit: each channel by itself."""
        plain = {f.name: getattr(self, f.name) for f in fields(Fitter)}
        return Fitter(**plain).scan(light, columns, exposure)


def _turns(ways: Doubles) -> tuple[Doubles, Doubles]:
    """Return mirrors (n, 3, 3) that lay ways (n, 3) along the first axis, and their lengths (n,).

    >>> turned, length = _turns(np.array([[3.0, 0.0, 4.0], [0.0, 0.0, 0.0]]))
    >>> (turned[0] @ [3.0, 0.0, 4.0]).round(9).tolist(), length.tolist()
    ([5.0, 0.0, 0.0], [5.0, 0.0])
    """
    length = np.linalg.norm(ways, axis=1)
    across = ways / np.maximum(length, 1e-12)[:, None]
    across[:, 0] -= 1.0
    across[length < 1e-12] = 0.0
    squares = np.maximum((across**2).sum(axis=1), 1e-12)
    outer = across[:, :, None] * across[:, None, :]
    return np.eye(3) - 2 * outer / squares[:, None, None], length
