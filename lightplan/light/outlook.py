"""What mirrors and rays see under several lights that are worked out together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.compiled import tracing

if TYPE_CHECKING:
    from lightplan.arrays import Floats, Integers, Singles
    from lightplan.light.ray_bundle import Rays
    from lightplan.light.surround import Surroundings


@dataclass(frozen=True, eq=False)
class Outlook:
    """What there is to see under each of k lights.

    Parameters
    ----------
    texels : (t, k, 3) float32
        What every texel shows.
    surroundings : Surroundings
        What rays that meet nothing show.
    sky : (k,) float32
        How much of the surroundings there is in each light, 0 or 1.
    """

    texels: Singles
    surroundings: Surroundings
    sky: Singles

    def brought(self, rays: Rays, carry: Singles) -> Singles:
        """Return the sums over bundles of rays of what they see times what they carry.

        Metal is taken to be dark.

        Parameters
        ----------
        rays : Rays
            r rays from each of n origins.
        carry : (3, n, r) float32

        Returns
        -------
        (n, k, 3) float32
        """
        total = np.zeros((len(rays.texel), *self.texels.shape[1:]), np.float32)
        tracing.brought(rays.texel, carry, self.texels, total)
        if self.sky.any() and not self.surroundings.is_dark:
            total += self.sky[:, None] * self.surroundings.brought(rays, carry)[:, None]
        return total


def summed(rows: Integers, values: Floats, count: int) -> Singles:
    """Return the sums (count, ...) of values (m, ...) that belong to rows, which rise."""
    total = np.zeros((count, *values.shape[1:]), np.float32)
    if len(rows):
        starts = np.flatnonzero(np.diff(rows, prepend=-1))
        total[rows[starts]] = np.add.reduceat(values, starts, axis=0)
    return total
