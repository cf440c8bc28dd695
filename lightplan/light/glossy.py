"""Light that a rough mirror (foil, gloss coat, silvered card) sends to given viewers.

Two fixed sets of directions share the work. Directions drawn from the normals the viewer
sees suit a lobe that is narrow beside what it meets; Gauss points spread over a lamp or
lit card suit one that is small beside the lobe, or far out in its tail. For every spot and
target the second is used where its points are dense enough to follow the lobe there, with
a smooth change between the two, so that no edge shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.light.cells import Patchwork, blend
from lightplan.light.emission import LampFace
from lightplan.light.kept import Kept, Moves
from lightplan.light.lobes import Lobes
from lightplan.light.metal import metal_hits
from lightplan.light.mirrors import Mirrors
from lightplan.light.outlook import Outlook, summed
from lightplan.light.polarise import polarised_reflectance
from lightplan.light.rays import Rays
from lightplan.light.targets import Target, scattered, targets_of
from lightplan.light.visibility import Visibility
from lightplan.optics import microfacet
from lightplan.optics.specular import SpecularCurve
from lightplan.scene.surfaces import Surface

DEPTH = 3  # reflections from metal to metal that are followed
METAL_SPOTS = 9  # points per target as a metal coating sees it


class GlossyLight(Kept):
    """Luminance of n mirror spots towards their viewers, kept current while things move."""

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, *, rays: int, spots: int,
        hidden_spots: int = 0, polariser: Doubles | None = None,
        skip: frozenset[int] = frozenset(), depth: int = 0, numbers: Integers | None = None,
    ) -> None:  # fmt: skip
        self._mirrors, self._curve = mirrors, curve
        self._hidden_spots, self._depth = hidden_spots, depth
        self._count, self._spots, self._skip = rays, spots, skip
        self._polariser = polariser
        self._lobes = Lobes(mirrors, curve, polariser)
        self._aim(np.arange(len(mirrors.points)) if numbers is None else numbers)
        self._sight = Visibility()
        self._behind: list[tuple[Integers, Singles, GlossyLight]] = []
        self._targets: dict[tuple[int, bool], Target] = {}
        self._carried: dict[tuple[int, bool], tuple[Singles, Singles]] = {}

    def _aim(self, numbers: Integers) -> None:
        """Choose the directions drawn from visible normals, and what each carries.

        Spots of the same number draw the same ones.
        """
        n, (ax, ay) = len(self._mirrors.points), self._mirrors.roughness
        square = point_sets.unit_square(self._count)
        square = (square[None] + point_sets.shifts_of(numbers)[:, None]) % 1.0
        view = self._mirrors.to_local(self._mirrors.views[:, None])
        view = np.broadcast_to(view, (n, self._count, 3)).reshape(-1, 3)
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

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        self.rays.renumber(moves)
        self._sight.renumber(moves)
        stayed = [t for key, t in sorted(self._targets.items()) if key[0] in moves.went]
        carried, self._targets, self._carried = self._carried, {}, {}
        for target in stayed:
            key = (moves.went[target.surface], target.key[1])
            self._targets[key] = replace(target, key=key, texel=moves.texels[target.texel])
            self._carried[key] = carried[target.key]

    def update(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:  # fmt: skip
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, self._skip)
        self._look_behind(surfaces, patchwork, lamps)
        fresh = changed if self._targets else frozenset(range(len(surfaces)))
        for key in [key for key in self._targets if key[0] in fresh]:
            del self._targets[key], self._carried[key]  # it may be bright no longer
        targets = targets_of(surfaces, patchwork, self._spots, fresh - self._skip)
        for target, carried in zip(targets, self._lobes.over(targets, lamps), strict=True):
            self._targets[target.key] = target
            self._carried[target.key] = carried
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
            self._sight = Visibility()  # nothing is followed meanwhile
            self._point_weight = np.zeros((3, n, 0), np.float32)
            self._shown = np.zeros((0, 4), int), np.zeros((0, 4), np.float32)
            return
        targets = self._in_order()
        ends = np.concatenate([t.points for t in targets])
        owners = np.concatenate([np.full(len(t.points), t.surface) for t in targets])
        free = self._sight.update(
            surfaces, changed, self._mirrors.points, self._mirrors.owners, ends, owners
        )
        weight = np.concatenate([self._carried[t.key][0] for t in targets], axis=2)
        weight *= free
        if self._hidden_spots:
            self._look_closer(surfaces, patchwork, lamps, free, weight)
        self._point_weight = weight
        self._shown = (
            np.concatenate([t.texel for t in targets]), np.concatenate([t.share for t in targets])
        )  # fmt: skip

    def _in_order(self) -> list[Target]:
        """Targets, in an order that does not tell which of them moved last."""
        return [self._targets[key] for key in sorted(self._targets)]

    def _look_closer(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace],
        free: Booleans, weight: Singles,
    ) -> None:  # fmt: skip
        """Follow shadow edges: many points where part of a target is hidden from a spot."""
        first = 0
        for target in self._in_order():
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
            share = self._carried[target.key][1][rows]
            carried = self._lobes.some(rows).over((many,), lamps, share)[0][0]
            weight[:, rows, part] = 0.0
            self._closer.append((rows, carried * clear, many))

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

    def evaluate(self, outlook: Outlook) -> Singles:
        """Return the luminance of each spot under each of the outlook's lights, (n, k, 3)."""
        total = outlook.brought(self.rays, self._brings)
        for rows, carry, light in self._behind:
            total = total + summed(rows, light.evaluate(outlook) * carry[:, None], len(total))
        total += _brought(self._point_weight, blend(outlook.texels, *self._shown))
        for rows, weight, many in self._closer:
            total[rows] += _brought(weight, blend(outlook.texels, many.texel, many.share))
        return np.asarray(total, np.float32)


def _brought(weight: Singles, shown: Singles) -> Singles:
    """Return the sums (n, k, 3) of what m points show, (m, k, 3), by weight (3, n, m)."""
    return np.asarray(np.matmul(weight, shown.transpose(2, 0, 1)).transpose(1, 2, 0))
