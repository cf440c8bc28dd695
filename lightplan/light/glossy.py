"""Light that a rough mirror (foil, gloss coat, silvered card) sends to given viewers.

Two fixed sets of directions share the work. Directions drawn from the normals the viewer
sees suit a lobe that is narrow beside what it meets; Gauss points spread over a lamp or
lit card suit one that is small beside the lobe, or far out in its tail. For every spot and
target the second is used where its points are dense enough to follow the lobe there, with
a smooth change between the two, so that no edge shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import METAL_TEXEL, Patchwork
from lightplan.light.emission import LampFace
from lightplan.light.polarise import polarised_reflectance
from lightplan.light.rays import MetalPaths, Rays
from lightplan.light.surround import Surroundings
from lightplan.light.targets import Target, targets_of
from lightplan.light.visibility import Visibility
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.surfaces import Surface

# Width of the lobe over the spacing of the Gauss points, both as angles of the facet:
# below the first figure only rays are used, above the second only points. A rule of n
# points meets the lobe's poles with an error near exp(-4 x ratio): 1 % at 1.2, 0.02 % at 2.2.
COARSE, FINE_ENOUGH = 1.2, 2.2


@dataclass(frozen=True)
class Mirrors:
    """n spots of a rough mirror and the direction each is viewed from.

    Parameters
    ----------
    points, views : (n, 3) float
        Spots [mm] and unit directions to the viewer.
    tangents, others, normals : (n, 3) float
        Frame of each spot; the first roughness runs along `tangents`.
    roughness : (2,) float
        GGX alpha along tangents and others.
    owners : (n,) int
        Surface of each spot.
    """

    points: Doubles
    views: Doubles
    tangents: Doubles
    others: Doubles
    normals: Doubles
    roughness: tuple[float, float]
    owners: Integers

    def to_local(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) world vectors in each spot's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=2).astype(np.float32)
        return np.matmul(vectors.astype(np.float32), frame)

    def to_world(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) local vectors in the world's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=1).astype(np.float32)
        return np.matmul(vectors.astype(np.float32), frame)


class GlossyLight:
    """Luminance of n mirror spots towards their viewers, kept current while things move."""

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, *, rays: int, spots: int,
        polariser: Doubles | None = None, skip: frozenset[int] = frozenset(),
    ) -> None:  # fmt: skip
        self._mirrors, self._curve = mirrors, curve
        self._count, self._spots, self._skip = rays, spots, skip
        self._polariser = polariser
        self._view = mirrors.to_local(mirrors.views[:, None])
        self._aim()
        self._sight = Visibility()
        self._metal: MetalPaths | None = None
        self._targets: dict[tuple[int, bool], Target] = {}
        self._carried: dict[tuple[int, bool], tuple[Singles, Singles]] = {}

    def _aim(self) -> None:
        """Choose the directions drawn from visible normals, and what each carries."""
        n, (ax, ay) = len(self._mirrors.points), self._mirrors.roughness
        square = point_sets.unit_square(self._count)
        square = (square[None] + point_sets.shifts(n)[:, None]) % 1.0
        view = np.broadcast_to(self._view, (n, self._count, 3)).reshape(-1, 3)
        half = microfacet.sample_visible_normals(view, ax, ay, square.reshape(-1, 2))
        cosine = np.sum(view * half, axis=1)
        onward = 2 * cosine[:, None] * half - view
        masking = microfacet.g1(onward[:, 0], onward[:, 1], onward[:, 2], ax, ay)
        shape = (n, self._count)
        reflectance = self._reflect(cosine.reshape(shape), half.reshape(*shape, 3))
        self._carry = reflectance * (masking.reshape(shape) / self._count)[..., None]
        self.rays = Rays(self._mirrors.points, self._mirrors.to_world(onward.reshape(*shape, 3)))

    def _reflect(self, cosine: Floats, half: Floats) -> Singles:
        """Reflectance at facets: cosine (n, k), local facet normals (n, k, 3)."""
        if self._polariser is None:
            return np.asarray(self._curve.evaluate(cosine.astype(np.float32)), np.float32)
        return polarised_reflectance(
            self._curve, cosine, self._mirrors.to_world(half), self._mirrors.views, self._polariser
        )

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:  # fmt: skip
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, self._skip)
        self._metal = MetalPaths(self.rays, surfaces, patchwork)
        fresh = changed if self._targets else frozenset(range(len(surfaces)))
        for target in targets_of(surfaces, patchwork, self._spots, fresh - self._skip):
            self._targets[target.key] = target
            self._carried[target.key] = self._over(target, lamps)
        self._weigh_points(surfaces, changed)
        self._weigh_rays(len(surfaces), lamps)

    def _weigh_points(self, surfaces: Sequence[Surface], changed: frozenset[int]) -> None:
        """What each target point adds to each spot, shadows included."""
        n = len(self._mirrors.points)
        if not self._targets:
            self._point_weight = np.zeros((n, 0, 3), np.float32)
            self._point_texel = np.zeros(0, int)
            return
        targets = list(self._targets.values())
        ends = np.concatenate([t.points for t in targets])
        owners = np.concatenate([np.full(len(t.points), t.surface) for t in targets])
        free = self._sight.update(
            surfaces, changed, self._mirrors.points, self._mirrors.owners, ends, owners
        )
        weight = np.concatenate([self._carried[t.key][0] for t in targets], axis=1)
        self._point_weight = weight * free[..., None]
        self._point_texel = np.concatenate([t.texel for t in targets])

    def _weigh_rays(self, surfaces: int, lamps: Sequence[LampFace]) -> None:
        """Share of what a ray meets that is left to rays."""
        left = np.ones((len(self._mirrors.points), surfaces + 1), np.float32)
        for target in self._targets.values():
            # both sides of a card share one number: a spot sees only one of them
            share = self._carried[target.key][1]
            left[:, target.surface] = np.minimum(left[:, target.surface], 1.0 - share)
        rows = np.arange(len(left))[:, None]
        self._weight = left[rows, self.rays.surface]
        for lamp in lamps:
            if lamp.profile is not None:
                row, col = np.nonzero(self.rays.surface == lamp.surface)
                back = -self.rays.directions[row, col]
                self._weight[row, col] *= lamp.towards(back, np.abs(back @ lamp.axes[2]))

    def _over(self, target: Target, lamps: Sequence[LampFace]) -> tuple[Singles, Singles]:
        """Weights (n, m, 3) of a target's points, and the share of it they stand for (n,)."""
        start = self._mirrors.points.astype(np.float32)
        if target.faces_away(start):
            shape = (len(start), len(target.points), 3)
            return np.zeros(shape, np.float32), np.zeros(len(start), np.float32)
        step = target.points.astype(np.float32)[None] - start[:, None]
        squared = np.maximum(np.einsum("nmc,nmc->nm", step, step), 1.0)
        step /= np.sqrt(squared)[..., None]
        leave = -np.einsum("nmc,mc->nm", step, target.normals.astype(np.float32))
        out = self._mirrors.to_local(step)
        half = out + self._view
        half /= np.maximum(np.sqrt(np.einsum("nmc,nmc->nm", half, half)), 1e-9)[..., None]
        meets = (leave > 1e-5) & (out[..., 2] > 1e-5)
        share = self._resolved(target, half, squared, meets)
        weight = np.zeros((*squared.shape, 3), np.float32)
        rows = np.flatnonzero((share > 0) & meets.any(axis=1))
        if not rows.size:
            return weight, share
        kernel = self._kernel(half[rows], out[rows], rows)
        kernel *= np.where(meets[rows], leave[rows], 0.0) / squared[rows]
        kernel *= target.areas.astype(np.float32) * share[rows, None]
        cosine = np.einsum("nmc,nc->nm", half[rows], self._view[rows, 0])
        weight[rows] = kernel[..., None] * self._reflect_rows(cosine, half[rows], rows)
        for lamp in lamps:
            if lamp.surface == target.surface and lamp.profile is not None:
                weight *= lamp.towards(-step, leave)[..., None]
        return weight, share

    def _kernel(self, half: Singles, out: Singles, rows: Integers) -> Singles:
        """Scattering times the cosine of arrival, reflectance left out, 1/sr."""
        ax, ay = self._mirrors.roughness
        view = self._view[rows]
        d = microfacet.d(half[..., 0], half[..., 1], half[..., 2], ax, ay)
        g = microfacet.g1(out[..., 0], out[..., 1], out[..., 2], ax, ay)
        g *= microfacet.g1(view[..., 0], view[..., 1], view[..., 2], ax, ay)
        return np.asarray(d * g / (4 * np.maximum(view[..., 2], 1e-4)), np.float32)

    def _resolved(
        self, target: Target, half: Singles, squared: Singles, meets: Floats
    ) -> Singles:
        """Share (n,) of a target that its points stand for: 1 where they follow the lobe."""
        ax, ay = self._mirrors.roughness
        off = np.hypot(half[..., 0] / ax, half[..., 1] / ay) / np.maximum(half[..., 2], 1e-3)
        off = np.where(meets, off, np.inf).min(axis=1)
        nearest = np.sqrt(np.where(meets, squared, np.inf).min(axis=1))
        spacing = 0.5 * target.spacing_mm / nearest
        narrow = min(ax, ay)
        off = np.maximum(off - 0.5 * spacing / narrow, 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = narrow * np.sqrt(1 + off * off) / spacing
        ratio = np.where(np.isfinite(nearest), ratio, 0.0)
        t = np.clip((ratio - COARSE) / (FINE_ENOUGH - COARSE), 0.0, 1.0)
        return np.asarray(t * t * (3 - 2 * t), np.float32)

    def _reflect_rows(self, cosine: Floats, half: Singles, rows: Integers) -> Singles:
        if self._polariser is None:
            return np.asarray(self._curve.evaluate(cosine.astype(np.float32)), np.float32)
        some = Mirrors(
            *(v[rows] for v in (
                self._mirrors.points, self._mirrors.views, self._mirrors.tangents,
                self._mirrors.others, self._mirrors.normals,
            )), self._mirrors.roughness, self._mirrors.owners[rows],
        )  # fmt: skip
        return polarised_reflectance(
            self._curve, cosine, some.to_world(half), some.views, self._polariser
        )

    def evaluate(self, texels: Singles, surroundings: Surroundings) -> Singles:
        """Return the luminance of each spot, (n, 3).

        Parameters
        ----------
        texels : (t, 3) float32
            What every texel shows.
        surroundings : Surroundings
            What rays that meet nothing show.
        """
        index = np.where(self.rays.texel == METAL_TEXEL, 0, self.rays.texel)
        seen = np.take(texels, index, axis=0)
        seen *= self._weight[..., None]
        if not surroundings.is_dark:
            row, col = np.nonzero(self.rays.escaped())
            seen[row, col] = surroundings.towards(self.rays.directions[row, col])
        if self._metal is not None and len(self._metal.row):
            seen[self._metal.row, self._metal.col] = _metal_luminance(
                self._metal, texels, surroundings
            )
        total = np.einsum("nkc,nkc->nc", seen, self._carry)
        points = np.take(texels, self._point_texel, axis=0)
        return np.asarray(total + np.einsum("nmc,mc->nc", self._point_weight, points), np.float32)


def _metal_luminance(paths: MetalPaths, texels: Singles, surroundings: Surroundings) -> Singles:
    seen = np.take(texels, np.maximum(paths.texel, 0), axis=0)
    if not surroundings.is_dark:
        free = paths.is_free
        seen[free] = surroundings.towards(paths.directions[free])
    return np.asarray(seen * paths.weight, np.float32)
