"""The parts of a lobe: what the rays of each are a sample of, and what each ray then counts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles


@compiled
def tally(
    first: Integers,
    where: Integers,
    facets: Singles,
    carry: Singles,
    by_rays: Doubles,
    hits: Doubles,
) -> None:
    """Add up the facets that the rays of each part stand for, and the share of rays.

    A ray that leads into the mirror itself carries nothing, and is of no thing's part: what lies
    behind the mirror's plane is not in the share of the lobe that a thing fills.

    Parameters
    ----------
    first : (n, r) int
        Surface by which each ray's part goes, below 0 for none.
    where : (s,) int
        Part of each surface.
    facets : (n, r) float32
    carry : (3, n, r) float32
        What each ray carries.
    by_rays, hits : (n, t + 1) float
        Given as 0; the last part is all the rest.
    """
    rest = by_rays.shape[1] - 1
    for i in range(first.shape[0]):
        for j in range(first.shape[1]):
            lost = carry[0, i, j] == 0 and carry[1, i, j] == 0 and carry[2, i, j] == 0
            part = rest if lost or first[i, j] < 0 else where[first[i, j]]
            by_rays[i, part] += facets[i, j]
            hits[i, part] += 1.0
        for part in range(rest + 1):
            hits[i, part] /= first.shape[1]


@compiled
def shares(
    whole: Doubles,
    points: Doubles,
    trust: Doubles,
    by_rays: Doubles,
    hits: Doubles,
    rays: int,
    with_points: int,
    doubtful: float,
    sure: float,
    factor: Doubles,
) -> None:
    """Write by what rays and points of each part (n, t + 1) are weighed.

    Parameters
    ----------
    whole : (n, t) float
        Facets that mirror each thing, by its outline.
    points, trust : (n, t) float
        The same by the sum over its points, and how far that can be trusted.
    by_rays, hits : (n, t + 1) float
        As `tally` has them.
    rays : int
        Rays of each spot.
    with_points : int
        The first few things have points; how much the others fill is known where `sure` rays
        should meet them, less below, and not at all below `doubtful`.
    """
    n, t = whole.shape
    step = sure - doubtful
    for i in range(n):
        facets = 0.0
        for k in range(t + 1):
            facets += by_rays[i, k]
        plain = 1.0 / facets if facets > 0 else 0.0  # all hits together are 1
        rest = 1.0
        for k in range(t):
            known = trust[i, k] * points[i, k] + (1.0 - trust[i, k]) * by_rays[i, k]
            ratio = whole[i, k] / known if known > 1e-25 else 0.0
            slant = hits[i, k] / by_rays[i, k] if by_rays[i, k] > 0 else plain
            filled = whole[i, k] * slant
            certain = 1.0
            if k >= with_points:
                certain = min(max((filled * rays - doubtful) / step, 0.0), 1.0)
            factor[i, k] = certain * ratio + (1.0 - certain)
            rest -= certain * filled + (1.0 - certain) * hits[i, k]
        rest = max(rest, 0.0)
        # few rays meet it by chance or not at all: then each stands for what it stood for
        certain = min(max((rest * rays - doubtful) / step, 0.0), 1.0)
        beyond = rest / hits[i, t] if hits[i, t] > 0 else 0.0
        factor[i, t] = certain * beyond + (1.0 - certain)


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
