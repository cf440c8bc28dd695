"""The parts of a lobe: what the rays of each are a sample of, and what each ray then counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


@compiled
def tally(
    first: Integers, where: Integers, facets: Singles, by_rays: Doubles, hits: Doubles
) -> None:
    """Add up the facets that the rays of each part stand for, and the share of rays.

    Parameters
    ----------
    first : (n, r) int
        Surface by which each ray's part goes, below 0 for none.
    where : (s,) int
        Part of each surface.
    facets : (n, r) float32
    by_rays, hits : (n, t + 1) float
        Given as 0; the last part is all the rest.
    """
    rest = by_rays.shape[1] - 1
    for i in range(first.shape[0]):
        for j in range(first.shape[1]):
            part = where[first[i, j]] if first[i, j] >= 0 else rest
            by_rays[i, part] += facets[i, j]
            hits[i, part] += 1.0
        for part in range(rest + 1):
            hits[i, part] /= first.shape[1]


@compiled
def counted(
    first: Integers,
    met: Integers,
    where: Integers,
    factor: Doubles,
    left: Doubles,
    carry: Singles,
    brings: Singles,
) -> None:
    """Write what rays bring (3, n, r): what they carry, times the factor of their part.

    Parameters
    ----------
    first, where
        As in `tally`.
    met : (n, r) int
        The surface that each ray meets.
    factor, left : (n, t + 1) float
        What rays of each part count, and the share of it that points leave to those that
        nothing stops before.
    carry : (3, n, r) float32
    """
    rest = factor.shape[1] - 1
    for i in range(first.shape[0]):
        for j in range(first.shape[1]):
            part = where[first[i, j]] if first[i, j] >= 0 else rest
            count = factor[i, part]
            if met[i, j] == first[i, j]:
                count *= left[i, part]
            share = np.float32(count)
            for c in range(3):
                brings[c, i, j] = carry[c, i, j] * share
