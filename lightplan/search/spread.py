"""Points that fill a box evenly."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles


def evenly(count: int, size: int, rng: np.random.Generator) -> Doubles:
    """Return points (count, size) of the unit box: a Latin hypercube.

    Each coordinate has one point in every count-th part of its range, so means of what is
    nearly a sum of single changes are much steadier than by independent draws (M. D. McKay,
    R. J. Beckman, W. J. Conover, "A comparison of three methods for selecting values of input
    variables", Technometrics 21, 1979). Written out, since to import scipy's own takes longer
    than everything else that happens before the first light is traced.

    >>> rows = evenly(4, 2, np.random.default_rng(0))
    >>> np.sort((4 * rows).astype(int), axis=0).tolist()
    [[0, 0], [1, 1], [2, 2], [3, 3]]
    """
    ranks = rng.permuted(np.tile(np.arange(count)[:, None], (1, size)), axis=0)
    return (ranks + rng.random((count, size))) / count
