"""The parts a lobe falls into, by what is seen there: each gets exactly the share it fills.

Rays and points are both a sample. Weighed so that the sample of each thing adds up to the
share of facets that mirror it, they only say how bright it is; where its edge lies they need
not find out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.compiled import lobe_parts
from lightplan.light.silhouettes import Outlines, is_outlined
from lightplan.light.visibility import occluders_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.light.ray_bundle import Rays
    from lightplan.light.silhouettes import Places, SeenParts
    from lightplan.light.targets import Target
    from lightplan.scene.surfaces import Surface

LEAST_POINTS = 1e-3  # share of points that is kept at the least, for when no ray meets a target
SURE, DOUBTFUL = 8.0, 3.0  # rays that should meet a thing without points, to know its share


@dataclass(frozen=True, eq=False)
class Shares:
    """What rays bring, (3, n, r), and what the points of each stratum (n, t) count."""

    of_rays: Singles
    of_points: Singles


@dataclass(frozen=True, eq=False)
class Strata:
    """t things that a lobe is divided among; the last part is all the rest.

    Parameters
    ----------
    things : (t,) int
        Surfaces. The first `with_points` have points, the others are met by rays only.
    blockers, outlined : (b,) and (o,) int
        Surfaces with an outline: those that may stand before others, and all.
    """

    things: Integers
    with_points: int
    blockers: Integers
    outlined: Integers

    @classmethod
    def of(
        cls, surfaces: Sequence[Surface], targets: Iterable[Target], skip: frozenset[int]
    ) -> Strata:
        """Return the strata of a scene: the targets, and mirrors."""
        bright = sorted({target.surface for target in targets})
        outlined = [i for i, s in enumerate(surfaces) if is_outlined(s)]
        metal = [
            i
            for i in outlined
            if i not in bright
            and i not in skip
            and (surfaces[i].front.is_metal or surfaces[i].back.is_metal)
        ]
        blockers = [i for i in occluders_of(surfaces) if i in outlined and i not in skip]
        arrays = (np.array(v, np.int64) for v in (bright + metal, blockers, outlined))
        things, before, every = arrays
        return cls(things, len(bright), before, every)

    def place(self, surface: int) -> int:
        """Return the stratum of a target."""
        return int(np.searchsorted(self.things[: self.with_points], surface))

    def seen(
        self,
        known: SeenParts | None,
        at: Places,
        roughness: tuple[float, float],
        surfaces: Sequence[Surface],
    ) -> Doubles:
        """Return the share (n, t) of each spot's facets that mirror each thing."""
        if known is None:
            return Outlines.of(surfaces).glossy(self.things, self.blockers, *at, roughness)
        return known.update(surfaces, self.things, self.blockers, at)

    def share(
        self,
        owners: Sequence[int],
        by_points: Sequence[Singles],
        dense: Sequence[Singles],
        whole: Doubles,
        rays: Rays,
        facets: Singles,
        carry: Singles,
    ) -> Shares:
        """Return what rays and points count.

        Parameters
        ----------
        owners : sequence of int
            Surface of each target.
        by_points, dense : sequence of (n,) float32
            Facets by the sum over each target's points, and how far that sum can be trusted.
        whole : (n, t) float
            Facets by outlines.
        facets : (n, r) float32
            Facets that each ray stands for. Its stratum goes by the first thing with an outline
            that it meets.
        carry : (3, n, r) float32
            What each ray carries.
        """
        n, count = facets.shape
        t = len(self.things)
        first = rays.first_among(frozenset(int(i) for i in self.outlined))
        where = self._where()
        by_rays, hits = np.zeros((n, t + 1)), np.zeros((n, t + 1))
        lobe_parts.tally(first, where, facets, carry, by_rays, hits)
        points, trust = np.zeros((n, t)), np.zeros((n, t))
        for owner, sums, sure in zip(owners, by_points, dense, strict=True):
            place = self.place(owner)
            points[:, place] += sums
            trust[:, place] = np.maximum(trust[:, place], sure)
        trust[:, : self.with_points] = np.maximum(trust[:, : self.with_points], LEAST_POINTS)
        factor = np.empty((n, t + 1))
        lobe_parts.shares(
            np.ascontiguousarray(whole),
            points,
            trust,
            by_rays,
            hits,
            count,
            self.with_points,
            DOUBTFUL,
            SURE,
            factor,
        )
        # Points take over from rays what they show. What a body without an outline hides of
        # them is shown by the rays that it stops, so these keep all they stand for.
        left = np.column_stack([1 - trust, np.ones(n)])
        brings = np.empty_like(carry)
        lobe_parts.counted(first, rays.surface, where, factor, left, carry, brings)
        return Shares(brings, np.asarray(trust * factor[:, :t], np.float32))

    def _where(self) -> Integers:
        """Return the stratum of each surface."""
        found = np.full(int(max(self.outlined, default=0)) + 1, len(self.things))
        found[self.things] = np.arange(len(self.things))
        return found
