"""What a rough mirror's lobe gives of points on lamps and lit cards, shadows left out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lightplan.arrays import smooth_step
from lightplan.light.compiled import facets_drawn, lobe_loops
from lightplan.light.polarise import across_views

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.light.emission import LampFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.light.targets import Target
    from lightplan.optics.specular import SpecularCurve

# Width of the lobe over the spacing of the Gauss points, both as angles of the facet:
# below the first figure only rays are used, above the second only points. A rule of n
# points meets the lobe's poles with an error near exp(-4 x ratio): 1 % at 1.2, 0.02 % at 2.2.
COARSE, FINE_ENOUGH = 1.2, 2.2


class Weighed(NamedTuple):
    """What the lobes of n spots give of a target's m points, shadows left out.

    weight (3, n, m) is what each point's luminance counts; facets (n, m) the share of facets
    that mirror it to the viewer, by the points' own sum, which is right where they are dense
    enough; share (n,) how far they are, from 0 to 1.
    """

    weight: Singles
    facets: Singles
    share: Singles


@dataclass(frozen=True, eq=False)
class Lobes:
    """The lobes of n spots of a rough mirror.

    Parameters
    ----------
    mirrors : Mirrors
    curve : SpecularCurve
    polariser : (3,) float or None
        Its axis in the world.
    """

    mirrors: Mirrors
    curve: SpecularCurve
    polariser: Doubles | None

    def some(self, rows: Integers) -> Lobes:
        """Return some of the spots."""
        return Lobes(self.mirrors.some(rows), self.curve, self.polariser)

    @cached_property
    def frames(self) -> Doubles:
        """Rows tangent, other and normal of each spot, (n, 3, 3)."""
        frame = (self.mirrors.tangents, self.mirrors.others, self.mirrors.normals)
        return np.ascontiguousarray(np.stack(frame, axis=1), np.float64)

    @cached_property
    def view(self) -> Doubles:
        """Directions to the viewers in these frames, (n, 3)."""
        return np.asarray(np.matmul(self.frames, self.mirrors.views[..., None])[..., 0])

    @cached_property
    def _across(self) -> Doubles:
        """The filter's axis across each view, in the spots' frames."""
        if self.polariser is None:
            return np.zeros((0, 3))
        across = across_views(self.polariser, self.mirrors.views)
        return np.asarray(np.matmul(self.frames, across[..., None])[..., 0])

    def drawn(self, square: Doubles, shifts: Doubles) -> tuple[Singles, Singles, Singles]:
        """Return what r rays carry (3, n, r), the facets (n, r) of each, and their ways (n, r, 3).

        Drawn from the facets that the viewers see, by points (r, 2) of the unit square that
        each spot takes shifted (n, 2).
        """
        shape = (len(shifts), len(square))
        carry, facets = np.empty((3, *shape), np.float32), np.empty(shape, np.float32)
        onward = np.empty((3, shape[0] * shape[1]), np.float32)
        facets_drawn.drawn(
            self.frames,
            self.view,
            self._across,
            self.polariser is not None,
            np.array(self.mirrors.roughness),
            *self.curve.polarised,
            square,
            shifts,
            carry,
            facets,
            onward,
        )
        return carry, facets, onward.T.reshape(*shape, 3)

    def over(self, targets: Sequence[Target], lamps: Sequence[LampFace]) -> list[Weighed]:
        """Return what the lobes give of each target's points."""
        if not targets:
            return []
        mirrors, n = self.mirrors, len(self.mirrors.points)
        firsts = np.cumsum([0, *(len(t.points) for t in targets)])
        facing = np.array([not t.faces_away(mirrors.points) for t in targets])
        points = np.empty((7, firsts[-1]))
        for target, (first, last) in zip(targets, pairwise(firsts), strict=True):
            own = points[:, first:last]
            own[:3], own[3:6], own[6] = target.points.T, target.normals.T, target.areas
        # target by target, each in one piece: loops run quickest over such
        weight = np.zeros(3 * n * points.shape[1], np.float32)
        facets = np.zeros(n * points.shape[1], np.float32)
        off, nearest = np.empty((n, len(targets))), np.empty((n, len(targets)))
        lobe_loops.weighed(
            np.asarray(mirrors.points, np.float64),
            self.frames,
            self.view,
            self._across,
            self.polariser is not None,
            np.array(mirrors.roughness),
            *self.curve.polarised,
            points,
            firsts,
            facing,
            weight,
            facets,
            off,
            nearest,
        )
        share = self._resolved(np.array([t.spacing_mm for t in targets]), off, nearest)
        found = []
        for target, (first, last), sure in zip(targets, pairwise(firsts), share.T, strict=True):
            part = weight[3 * n * first : 3 * n * last].reshape(3, n, last - first)
            for lamp in lamps:
                if lamp.surface == target.surface and lamp.profile is not None:
                    self._profiled(lamp, target, part)
            found.append(Weighed(part, facets[n * first : n * last].reshape(n, -1), sure))
        return found

    def _profiled(self, lamp: LampFace, target: Target, weight: Singles) -> None:
        """Give a lamp's points (3, n, m) the lamp's own spread."""
        away = self.mirrors.points[:, None] - target.points[None]
        away /= np.maximum(np.linalg.norm(away, axis=2, keepdims=True), 1e-9)
        weight *= lamp.towards(away, np.einsum("nmc,mc->nm", away, target.normals))

    def _resolved(self, spacings_mm: Doubles, off: Doubles, nearest: Doubles) -> Singles:
        """Share (n, targets) that points stand for: 1 where they follow the lobe.

        off, nearest (n, targets): how far out in the lobe a target begins, in roughnesses, and
        how near it comes [mm], nearer where it is seen aslant and infinite where it is not seen.
        """
        narrow = min(self.mirrors.roughness)
        with np.errstate(invalid="ignore", divide="ignore"):
            spacing = 0.5 * spacings_mm / nearest
            off = np.maximum(off - 0.5 * spacing / narrow, 0.0)
            ratio = narrow * np.sqrt(1 + off * off) / spacing
        ratio = np.where(np.isfinite(nearest), ratio, 0.0)
        return np.asarray(smooth_step(ratio, COARSE, FINE_ENOUGH), np.float32)
