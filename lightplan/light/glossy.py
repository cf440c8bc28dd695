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

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import Patchwork, blend
from lightplan.light.emission import LampFace
from lightplan.light.metal import metal_hits
from lightplan.light.outlook import Outlook, summed
from lightplan.light.polarise import polarised_reflectance
from lightplan.light.rays import Rays
from lightplan.light.targets import Target, scattered, targets_of
from lightplan.light.visibility import Visibility
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.surfaces import Surface

# Width of the lobe over the spacing of the Gauss points, both as angles of the facet:
# below the first figure only rays are used, above the second only points. A rule of n
# points meets the lobe's poles with an error near exp(-4 x ratio): 1 % at 1.2, 0.02 % at 2.2.
COARSE, FINE_ENOUGH = 1.2, 2.2
DEPTH = 3  # reflections from metal to metal that are followed
METAL_SPOTS = 9  # points per target as a metal coating sees it


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

    def some(self, rows: Integers) -> Mirrors:
        """Return some of the spots."""
        return Mirrors(
            self.points[rows], self.views[rows], self.tangents[rows], self.others[rows],
            self.normals[rows], self.roughness, self.owners[rows],
        )  # fmt: skip

    def to_local(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) world vectors in each spot's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=2).astype(np.float32)
        return np.asarray(np.matmul(vectors.astype(np.float32), frame))

    def to_world(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) local vectors in the world's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=1).astype(np.float32)
        return np.asarray(np.matmul(vectors.astype(np.float32), frame))


class GlossyLight:
    """Luminance of n mirror spots towards their viewers, kept current while things move."""

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, *, rays: int, spots: int,
        hidden_spots: int = 0, polariser: Doubles | None = None,
        skip: frozenset[int] = frozenset(), depth: int = 0,
    ) -> None:  # fmt: skip
        self._mirrors, self._curve = mirrors, curve
        self._hidden_spots, self._depth = hidden_spots, depth
        self._count, self._spots, self._skip = rays, spots, skip
        self._polariser = polariser
        self._view = mirrors.to_local(mirrors.views[:, None])
        self._aim()
        self._sight = Visibility()
        self._behind: list[tuple[Integers, Singles, GlossyLight]] = []
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
        reflectance = self._reflect(cosine.reshape(shape), half.reshape(*shape, 3), self._mirrors)
        carry = reflectance * (masking.reshape(shape) / self._count)[..., None]
        self._carry = np.ascontiguousarray(np.moveaxis(carry, -1, 0), np.float32)
        self.rays = Rays(self._mirrors.points, self._mirrors.to_world(onward.reshape(*shape, 3)))

    def _reflect(self, cosine: Floats, half: Floats, mirrors: Mirrors) -> Singles:
        """Reflectance at facets of some spots: cosine (n, k), local normals (n, k, 3)."""
        if self._polariser is None:
            return np.asarray(self._curve.evaluate(cosine.astype(np.float32)), np.float32)
        return polarised_reflectance(
            self._curve, cosine, mirrors.to_world(half), mirrors.views, self._polariser
        )

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:  # fmt: skip
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, self._skip)
        self._look_behind(surfaces, patchwork, lamps)
        fresh = changed if self._targets else frozenset(range(len(surfaces)))
        for target in targets_of(surfaces, patchwork, self._spots, fresh - self._skip):
            self._targets[target.key] = target
            self._carried[target.key] = self._over(target, lamps)
        self._weigh_points(surfaces, patchwork, lamps, changed)
        self._weigh_rays(len(surfaces), lamps)

    def _look_behind(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace]
    ) -> None:
        """Where rays meet metal coatings, see what these mirror in turn."""
        self._behind = []
        if not patchwork.has_metal or self._depth >= DEPTH:
            return
        for hit in metal_hits(self.rays, surfaces):
            mirrors = Mirrors(*hit.spots, (hit.roughness, hit.roughness), hit.owners)
            light = GlossyLight(
                mirrors, hit.curve, rays=1, spots=METAL_SPOTS, skip=frozenset((hit.surface,)),
                depth=self._depth + 1,
            )  # fmt: skip
            light.update(surfaces, patchwork, lamps, frozenset())
            self._behind.append((hit.row, self._carry[:, hit.row, hit.col].T, light))

    def _weigh_points(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:  # fmt: skip
        """Weigh what each target point adds to each spot, shadows included."""
        n = len(self._mirrors.points)
        self._closer: list[tuple[Integers, Singles, Target]] = []
        if not self._targets:
            self._point_weight = np.zeros((3, n, 0), np.float32)
            self._shown = np.zeros((0, 4), int), np.zeros((0, 4), np.float32)
            return
        targets = list(self._targets.values())
        ends = np.concatenate([t.points for t in targets])
        owners = np.concatenate([np.full(len(t.points), t.surface) for t in targets])
        free = self._sight.update(
            surfaces, changed, self._mirrors.points, self._mirrors.owners, ends, owners
        )
        weight = np.concatenate([self._carried[t.key][0] for t in targets], axis=1)
        weight *= free[..., None]
        if self._hidden_spots:
            self._look_closer(surfaces, patchwork, lamps, free, weight)
        self._point_weight = np.ascontiguousarray(np.moveaxis(weight, -1, 0))
        self._shown = (
            np.concatenate([t.texel for t in targets]), np.concatenate([t.share for t in targets])
        )  # fmt: skip

    def _look_closer(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        free: Booleans, weight: Singles,
    ) -> None:  # fmt: skip
        """Follow shadow edges: many points where part of a target is hidden from a spot."""
        first = 0
        for target in list(self._targets.values()):
            part = slice(first, first + len(target.points))
            first = part.stop
            seen = free[:, part]
            mixed = seen.any(axis=1) & ~seen.all(axis=1) & (self._carried[target.key][1] > 0)
            rows = np.flatnonzero(mixed)
            if not rows.size:
                continue
            many = scattered(target, surfaces, patchwork, self._hidden_spots)
            some = self._mirrors.some(rows)
            sight = Visibility()
            owners = np.full(len(many.points), target.surface)
            clear = sight.update(
                surfaces, frozenset(range(len(surfaces))), some.points, some.owners,
                many.points, owners,
            )  # fmt: skip
            carried = self._over(many, lamps, rows, self._carried[target.key][1][rows])[0]
            weight[rows, part] = 0.0
            self._closer.append((rows, carried * clear[..., None], many))

    def _weigh_rays(self, surfaces: int, lamps: Sequence[LampFace]) -> None:
        """Share of what a ray meets that is left to rays."""
        left = np.ones((len(self._mirrors.points), surfaces + 1), np.float32)
        for target in self._targets.values():
            # both sides of a card share one number: a spot sees only one of them
            share = self._carried[target.key][1]
            left[:, target.surface] = np.minimum(left[:, target.surface], 1.0 - share)
        rows = np.arange(len(left))[:, None]
        weight = left[rows, self.rays.surface]
        for lamp in lamps:
            if lamp.profile is not None:
                row, col = np.nonzero(self.rays.surface == lamp.surface)
                back = -self.rays.directions[row, col]
                weight[row, col] *= lamp.towards(back, np.abs(back @ lamp.axes[2]))
        self._brings = self._carry * weight

    def _over(
        self, target: Target, lamps: Sequence[LampFace], rows: Integers | None = None,
        given_share: Singles | None = None,
    ) -> tuple[Singles, Singles]:  # fmt: skip
        """Weights (n, m, 3) of a target's points, and the share of it they stand for (n,)."""
        mirrors = self._mirrors if rows is None else self._mirrors.some(rows)
        view = self._view if rows is None else self._view[rows]
        start = mirrors.points.astype(np.float32)
        shape = (len(start), len(target.points))
        if target.faces_away(start):
            return np.zeros((*shape, 3), np.float32), np.zeros(len(start), np.float32)
        step = target.points.astype(np.float32)[None] - start[:, None]
        squared = np.maximum(np.einsum("nmc,nmc->nm", step, step), 1.0)
        step /= np.sqrt(squared)[..., None]
        leave = -np.einsum("nmc,mc->nm", step, target.normals.astype(np.float32))
        out = mirrors.to_local(step)
        half = out + view
        half /= np.maximum(np.sqrt(np.einsum("nmc,nmc->nm", half, half)), 1e-9)[..., None]
        meets = (leave > 1e-5) & (out[..., 2] > 1e-5)
        share = given_share
        if share is None:
            share = self._resolved(target, half, squared, meets)
        weight = np.zeros((*shape, 3), np.float32)
        live = np.flatnonzero((share > 0) & meets.any(axis=1))
        if live.size:
            kernel = self._kernel(half[live], out[live], view[live])
            kernel *= np.where(meets[live], leave[live], 0.0) / squared[live]
            kernel *= target.areas.astype(np.float32) * share[live, None]
            cosine = np.einsum("nmc,nc->nm", half[live], view[live, 0])
            reflectance = self._reflect(cosine, half[live], mirrors.some(live))
            weight[live] = kernel[..., None] * reflectance
        for lamp in lamps:
            if lamp.surface == target.surface and lamp.profile is not None:
                weight *= lamp.towards(-step, leave)[..., None]
        return weight, share

    def _kernel(self, half: Singles, out: Singles, view: Singles) -> Singles:
        """Scattering times the cosine of arrival, reflectance left out, 1/sr."""
        ax, ay = self._mirrors.roughness
        d = microfacet.d(half[..., 0], half[..., 1], half[..., 2], ax, ay)
        g = microfacet.g1(out[..., 0], out[..., 1], out[..., 2], ax, ay)
        g *= microfacet.g1(view[..., 0], view[..., 1], view[..., 2], ax, ay)
        return np.asarray(d * g / (4 * np.maximum(view[..., 2], 1e-4)), np.float32)

    def _resolved(self, target: Target, half: Singles, squared: Singles, meets: Floats) -> Singles:
        """Share (n,) of a target that its points stand for: 1 where they follow the lobe."""
        ax, ay = self._mirrors.roughness
        off = np.hypot(half[..., 0] / ax, half[..., 1] / ay) / np.maximum(half[..., 2], 1e-3)
        off = np.where(meets, off, np.inf).min(axis=1)
        nearest = np.sqrt(np.where(meets, squared, np.inf).min(axis=1))
        narrow = min(ax, ay)
        with np.errstate(invalid="ignore", divide="ignore"):
            spacing = 0.5 * target.spacing_mm / nearest
            off = np.maximum(off - 0.5 * spacing / narrow, 0.0)
            ratio = narrow * np.sqrt(1 + off * off) / spacing
        ratio = np.where(np.isfinite(nearest), ratio, 0.0)
        t = np.clip((ratio - COARSE) / (FINE_ENOUGH - COARSE), 0.0, 1.0)
        return np.asarray(t * t * (3 - 2 * t), np.float32)

    def evaluate(self, outlook: Outlook) -> Singles:
        """Return the luminance of each spot under each of the outlook's lights, (n, k, 3)."""
        total = outlook.brought(self.rays, self._brings)
        for rows, carry, light in self._behind:
            total = total + summed(rows, light.evaluate(outlook) * carry[:, None], len(total))
        shown = blend(outlook.texels, *self._shown)
        total += np.matmul(self._point_weight, shown.transpose(2, 0, 1)).transpose(1, 2, 0)
        for rows, weight, many in self._closer:
            shown = blend(outlook.texels, many.texel, many.share)
            total[rows] += np.einsum("nmc,mkc->nkc", weight, shown)
        return np.asarray(total, np.float32)
