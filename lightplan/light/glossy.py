"""Light that a rough mirror (foil, gloss coat, silvered card) sends to given viewers.

Two fixed sets of directions share the work, weighted by the balance heuristic (Veach and
Guibas, SIGGRAPH 1995): directions drawn from the normals the viewer sees, and points
spread over every lamp and lit card. Narrow lobes and small lamps are both resolved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.geometry.shapes import Cone
from lightplan.light.cells import METAL_TEXEL, Patchwork
from lightplan.light.emission import LampFace
from lightplan.light.polarise import polarised_reflectance
from lightplan.light.rays import MetalPaths, Rays
from lightplan.light.surround import Surroundings
from lightplan.light.visibility import Visibility
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.surfaces import Surface


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
        self._view = self._mirrors.to_local(mirrors.views[:, None])
        self._aim()
        self._sight = Visibility()
        self._metal: MetalPaths | None = None

    def _aim(self) -> None:
        """Choose the directions drawn from visible normals, and what each would carry."""
        n, (ax, ay) = len(self._mirrors.points), self._mirrors.roughness
        square = point_sets.unit_square(self._count)
        square = (square[None] + point_sets.shifts(n)[:, None]) % 1.0
        view = np.broadcast_to(self._view, (n, self._count, 3)).reshape(-1, 3)
        half = microfacet.sample_visible_normals(view, ax, ay, square.reshape(-1, 2))
        cosine = np.sum(view * half, axis=1)
        onward = 2 * cosine[:, None] * half - view
        masking = microfacet.g1(onward[:, 0], onward[:, 1], onward[:, 2], ax, ay)
        masking[onward[:, 2] <= 0] = 0.0
        shape = (n, self._count)
        onward = onward.reshape(*shape, 3)
        reflectance = self._reflect(cosine.reshape(shape), half.reshape(*shape, 3))
        self._carry = reflectance * (masking.reshape(shape) / self._count)[..., None]
        self._density = _direction_density(self._view, half.reshape(*shape, 3), ax, ay)
        self.rays = Rays(self._mirrors.points, self._mirrors.to_world(onward))

    def _reflect(self, cosine: Floats, half: Floats) -> Singles:
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
        targets = _Targets.spread(surfaces, patchwork, lamps, self._spots, self._skip)
        self._share_with(targets, surfaces, lamps)
        self._add_spots(targets, surfaces, changed, lamps)

    def _share_with(
        self, targets: _Targets, surfaces: Sequence[Surface], lamps: Sequence[LampFace]
    ) -> None:
        """Weigh rays that meet something the spot points cover as well."""
        self._weight = np.ones(self.rays.surface.shape, np.float32)
        for index in targets.covered:
            row, col = np.nonzero(self.rays.surface == index)
            if not row.size:
                continue
            away = self.rays.directions[row, col]
            way = self.rays.distance[row, col]
            spots = self.rays.origins[row, 0] + way[:, None] * away
            leave = np.abs(np.sum(surfaces[index].shape.normals_at(spots) * away, axis=1))
            spot_density = way * way / (targets.area[index] * np.maximum(leave, 1e-6))
            mine = self._density[row, col] * self._count
            self._weight[row, col] = mine / np.maximum(mine + spot_density, 1e-30)
        for lamp in lamps:
            if lamp.profile is not None:
                row, col = np.nonzero(self.rays.surface == lamp.surface)
                back = -self.rays.directions[row, col]
                self._weight[row, col] *= lamp.towards(back, np.abs(back @ lamp.axes[2]))

    def _add_spots(
        self, targets: _Targets, surfaces: Sequence[Surface], changed: frozenset[int],
        lamps: Sequence[LampFace],
    ) -> None:  # fmt: skip
        start = self._mirrors.points
        self._spot_texel = targets.texel
        if not len(targets.points):
            self._spot_weight = np.zeros((len(start), 0, 3), np.float32)
            return
        free = self._sight.update(
            surfaces, changed, start, self._mirrors.owners, targets.points, targets.owners
        )
        step = targets.points.astype(np.float32)[None] - start.astype(np.float32)[:, None]
        squared = np.maximum(np.einsum("nmc,nmc->nm", step, step), 1.0)
        step /= np.sqrt(squared)[..., None]
        leave = -np.einsum("nmc,mc->nm", step, targets.normals.astype(np.float32))
        weight = self._spot_carry(step, squared, leave, targets, free)
        for lamp in lamps:
            mine = targets.owners == lamp.surface
            if lamp.profile is not None:
                weight[:, mine] *= lamp.towards(-step[:, mine], leave[:, mine])[..., None]
        self._spot_weight = weight

    def _spot_carry(
        self, step: Singles, squared: Singles, leave: Singles, targets: _Targets, free: Booleans
    ) -> Singles:
        ax, ay = self._mirrors.roughness
        onward = self._mirrors.to_local(step)
        weight = np.zeros((*free.shape, 3), np.float32)
        row, col = np.nonzero(free & (leave > 1e-4) & (onward[..., 2] > 1e-4))
        if not row.size:
            return weight
        out, view = onward[row, col], self._view[row, 0]
        half = out + view
        half /= np.maximum(np.linalg.norm(half, axis=1, keepdims=True), 1e-9)
        density = _direction_density(view, half, ax, ay)
        spot_density = squared[row, col] / (
            targets.areas[col].astype(np.float32) * leave[row, col]
        )
        masking = microfacet.g1(out[:, 0], out[:, 1], out[:, 2], ax, ay)
        share = masking * density / np.maximum(self._count * density + spot_density, 1e-30)
        cosine = np.sum(view * half, axis=1)
        weight[row, col] = share[:, None] * self._reflect_pairs(cosine, half, row)
        return weight

    def _reflect_pairs(self, cosine: Floats, half: Floats, row: Integers) -> Singles:
        if self._polariser is None:
            return np.asarray(self._curve.evaluate(cosine.astype(np.float32)), np.float32)
        axes = (self._mirrors.tangents, self._mirrors.others, self._mirrors.normals)
        world = sum(half[:, i : i + 1] * axis[row] for i, axis in enumerate(axes))
        found = polarised_reflectance(
            self._curve, cosine[:, None], np.asarray(world)[:, None],
            self._mirrors.views[row], self._polariser,
        )  # fmt: skip
        return found[:, 0]

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
        spots = np.take(texels, self._spot_texel, axis=0)
        return np.asarray(total + np.einsum("nmc,mc->nc", self._spot_weight, spots), np.float32)


def _metal_luminance(paths: MetalPaths, texels: Singles, surroundings: Surroundings) -> Singles:
    seen = np.take(texels, np.maximum(paths.texel, 0), axis=0)
    if not surroundings.is_dark:
        free = paths.is_free
        seen[free] = surroundings.towards(paths.directions[free])
    return np.asarray(seen * paths.weight, np.float32)


def _direction_density(view: Floats, half: Floats, ax: float, ay: float) -> Singles:
    """Density over solid angle of directions mirrored at visible normals."""
    d = microfacet.d(half[..., 0], half[..., 1], half[..., 2], ax, ay)
    g = microfacet.g1(view[..., 0], view[..., 1], view[..., 2], ax, ay)
    return np.asarray(d * g / (4 * np.maximum(view[..., 2], 1e-4)), np.float32)


@dataclass(frozen=True)
class _Targets:
    """Points spread over lamps and lit cards, and the area each stands for."""

    points: Doubles
    normals: Doubles
    areas: Doubles
    owners: Integers
    texel: Integers
    covered: tuple[int, ...]
    area: dict[int, float]

    @classmethod
    def spread(
        cls, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        count: int, skip: frozenset[int],
    ) -> _Targets:  # fmt: skip
        parts: list[tuple[Doubles, Doubles, Doubles, Integers, Integers]] = []
        area: dict[int, float] = {}
        lit = [(f.surface, f.is_front) for f in patchwork.faces]
        lit += [(lamp.surface, True) for lamp in lamps]
        for index, is_front in lit:
            surface = surfaces[index]
            if index in skip or not _is_target(surface):
                continue
            spots = surface.shape.sample(count)
            normals = spots.normals if is_front else -spots.normals
            texel = patchwork.texel_of(surfaces, index, spots.points, -normals)
            owner = np.full(len(texel), index)
            parts.append((spots.points, normals, spots.areas, owner, texel))
            area[index] = float(spots.areas[0])
        if not parts:
            none = np.zeros((0, 3))
            empty = np.zeros(0, int)
            return cls(none, none, np.zeros(0), empty, empty, (), {})
        joined = [np.concatenate(group) for group in zip(*parts, strict=True)]
        return cls(*joined, tuple(area), area)


def _is_target(surface: Surface) -> bool:
    if isinstance(surface.shape, Cone):
        return False
    return surface.role in ("lamp", "window", "card", "diffuser")
