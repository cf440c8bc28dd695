"""What a rough mirror's lobe gives of points on lamps and lit cards, shadows left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from lightplan.arrays import Booleans, Doubles, Integers, Singles
from lightplan.light.emission import LampFace
from lightplan.light.kernels import dot
from lightplan.light.mirrors import Mirrors
from lightplan.light.polarise import polarised_reflectance
from lightplan.light.targets import Target
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve

# Width of the lobe over the spacing of the Gauss points, both as angles of the facet:
# below the first figure only rays are used, above the second only points. A rule of n
# points meets the lobe's poles with an error near exp(-4 x ratio): 1 % at 1.2, 0.02 % at 2.2.
COARSE, FINE_ENOUGH = 1.2, 2.2
PAIRS_AT_ONCE = 65536  # of spot and point: what stays near the processor


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
    def _start(self) -> Singles:
        return np.asarray(self.mirrors.points.T, np.float32)[:, :, None]

    @cached_property
    def _axes(self) -> tuple[Singles, Singles, Singles]:
        """Tangents, others and normals, coordinates first, (3, n, 1) each."""
        frame = (self.mirrors.tangents, self.mirrors.others, self.mirrors.normals)
        x, y, z = (np.asarray(axis.T, np.float32)[:, :, None] for axis in frame)
        return x, y, z

    @cached_property
    def _view(self) -> Singles:
        views = np.asarray(self.mirrors.views.T, np.float32)[:, :, None]
        return self._local(views)

    def _local(self, vectors: Singles) -> Singles:
        """Vectors (3, n, m) in each spot's frame."""
        return np.stack([dot(vectors, axis) for axis in self._axes])

    def over(self, targets: Sequence[Target], lamps: Sequence[LampFace]) -> list[Weighed]:
        """Return what the lobes give of each target's points."""
        n = len(self.mirrors.points)
        found: dict[int, Weighed] = {}
        for index, target in enumerate(targets):
            if target.faces_away(self.mirrors.points):
                nothing = np.zeros((4, n, len(target.points)), np.float32)
                found[index] = Weighed(nothing[:3], nothing[3], np.zeros(n, np.float32))
        facing = [i for i in range(len(targets)) if i not in found]
        for group in _grouped(facing, [n * len(t.points) for t in targets]):
            weighed = self._over_some([targets[i] for i in group], lamps)
            found.update(zip(group, weighed, strict=True))
        return [found[i] for i in range(len(targets))]

    def _over_some(self, targets: Sequence[Target], lamps: Sequence[LampFace]) -> list[Weighed]:
        points, normals = (
            np.concatenate(parts).T.astype(np.float32)[:, None]
            for parts in ([t.points for t in targets], [t.normals for t in targets])
        )
        areas = np.concatenate([t.areas for t in targets]).astype(np.float32)
        sizes = np.array([len(t.points) for t in targets])
        firsts = np.cumsum(sizes) - sizes
        step = points - self._start
        squared = np.maximum(dot(step, step), np.float32(1.0))
        step /= np.sqrt(squared)
        leave = -dot(step, normals)
        out = self._local(step)
        half: Singles = out + self._view
        half /= np.maximum(np.sqrt(dot(half, half)), np.float32(1e-9))
        meets = (leave > 1e-5) & (out[2] > 1e-5)
        spacings = np.array([t.spacing_mm for t in targets])
        share = self._resolved(spacings, firsts, half, squared, meets)
        kept = leave * areas
        kept /= squared
        weight, facets = self._weights(half, out, kept, meets)
        for target, first in zip(targets, firsts, strict=True):
            part = slice(first, first + len(target.points))
            for lamp in lamps:
                if lamp.surface == target.surface and lamp.profile is not None:
                    away = -step[:, :, part].transpose(1, 2, 0)
                    weight[:, :, part] *= lamp.towards(away, leave[:, part])
        parts = (np.split(weight, firsts[1:], axis=2), np.split(facets, firsts[1:], axis=1))
        return [Weighed(*each) for each in zip(*parts, share.T, strict=True)]

    def _weights(
        self, half: Singles, out: Singles, kept: Singles, meets: Booleans
    ) -> tuple[Singles, Singles]:
        """Return scattering times reflectance (3, n, m), and the facets (n, m), times `kept`."""
        live = np.flatnonzero(meets & (kept > 0))
        weight, facets = np.zeros((3, kept.size), np.float32), np.zeros(kept.size, np.float32)
        if live.size:
            row = live // kept.shape[1]
            half, out = (v.reshape(3, -1).take(live, axis=1) for v in (half, out))
            view = self._view[:, :, 0].take(row, axis=1)
            seen = np.maximum(dot(half, view), np.float32(1e-4))
            ax, ay = self.mirrors.roughness
            g = microfacet.g1(out[0], out[1], out[2], ax, ay)
            g = g * microfacet.g1(view[0], view[1], view[2], ax, ay)
            d = np.asarray(microfacet.d(half[0], half[1], half[2], ax, ay), np.float32)
            d *= kept.ravel()[live] / 4
            facets[live] = d * half[2] / seen
            brings = d * g / np.maximum(view[2], np.float32(1e-4))
            weight[:, live] = self._reflect(seen, half, row).T * brings
        return weight.reshape(3, *kept.shape), facets.reshape(kept.shape)

    def _reflect(self, cosine: Singles, half: Singles, row: Integers) -> Singles:
        """Reflectance (k, 3) at facets (3, k) of spots."""
        if self.polariser is None:
            return np.asarray(self.curve.evaluate(cosine), np.float32)
        mirrors = self.mirrors.some(row)
        facets = mirrors.to_world(half.T[:, None])
        return polarised_reflectance(
            self.curve, cosine[:, None], facets, mirrors.views, self.polariser
        )[:, 0]

    def _resolved(
        self, spacings_mm: Doubles, firsts: Integers, half: Singles, squared: Singles,
        meets: Booleans,
    ) -> Singles:  # fmt: skip
        """Share (n, targets) that points stand for: 1 where they follow the lobe."""
        ax, ay = self.mirrors.roughness
        off2 = np.square(half[0] * np.float32(1 / ax)) + np.square(half[1] * np.float32(1 / ay))
        off2 /= np.square(np.maximum(half[2], np.float32(1e-3)))
        off2[~meets] = np.inf
        off = np.sqrt(np.minimum.reduceat(off2, firsts, axis=1))
        nearest = np.where(meets, squared, np.float32(np.inf))
        nearest = np.sqrt(np.minimum.reduceat(nearest, firsts, axis=1))
        narrow = min(ax, ay)
        with np.errstate(invalid="ignore", divide="ignore"):
            spacing = 0.5 * spacings_mm / nearest
            off = np.maximum(off - 0.5 * spacing / narrow, 0.0)
            ratio = narrow * np.sqrt(1 + off * off) / spacing
        ratio = np.where(np.isfinite(nearest), ratio, 0.0)
        t = np.clip((ratio - COARSE) / (FINE_ENOUGH - COARSE), 0.0, 1.0)
        return np.asarray(t * t * (3 - 2 * t), np.float32)


def _grouped(items: Sequence[int], sizes: Sequence[int]) -> Iterator[list[int]]:
    """Yield runs of items, each of at most PAIRS_AT_ONCE in all or a single one."""
    group: list[int] = []
    for item in items:
        if group and sum(sizes[i] for i in group) + sizes[item] > PAIRS_AT_ONCE:
            yield group
            group = []
        group.append(item)
    if group:
        yield group
