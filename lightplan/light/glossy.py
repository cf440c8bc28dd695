"""Light that a rough mirror (foil, gloss coat, silvered card) sends to given viewers.

How much of a lobe each thing fills is worked out exactly, from its outline and those of
what stands before it. How bright it is there, on the average over that part of the lobe, is
asked with two fixed sets of directions: those drawn from the normals the viewer sees suit a
lobe that is narrow beside what it meets; Gauss points spread over a lamp or lit card suit one
that is small beside the lobe, or far out in its tail. The second counts for as much as its
points are dense enough to follow the lobe, with a smooth change between the two.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import accumulate, chain
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.light.by_foil import by_foil
from lightplan.light.by_silver import BySilver
from lightplan.light.cells import Patchwork, blend
from lightplan.light.compiled import seen_points, weighted_sums
from lightplan.light.cut_targets import CutTarget
from lightplan.light.glints import Receivers
from lightplan.light.kept import Kept, Moves
from lightplan.light.lobes import Lobes, Weighed
from lightplan.light.low_lamps import more_on
from lightplan.light.metal_hits import SHEET, FoilFace, MetalHit, metal_hits
from lightplan.light.mirrors import Mirrors
from lightplan.light.outlook import Outlook, summed
from lightplan.light.ray_bundle import Rays
from lightplan.light.silhouettes import SeenParts
from lightplan.light.strata import Strata
from lightplan.light.targets import Target, scattered, targets_of
from lightplan.light.visibility import Visibility, free_lines, may_be_cut, occluders_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.light.emission import LampFace
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.surfaces import Surface

DEPTH = 3  # reflections from metal to metal that are followed
# Rays that go on from silver to where the foil may be, altogether and for each that came: of a
# wide lobe few meet the foil, and its own narrow one shows lamps to few of these.
RAYS_ON, MOST_RAYS_ON = 600_000, 13
# Places at which silver and a lamp are joined over the foil, in each of two ways, altogether
# and for each spot of silver: see `light.glints`. Silver much smoother than the foil is left to
# rays, which find what is sharp in it.
JOINED, MOST_JOINED = 1_000_000, 8
SMOOTHER = 0.4
METAL_SPOTS = 9  # points per target as a metal coating sees it
# What a hidden point still counts, to tell how bright its target is where no point is seen.
HIDDEN = 1e-4


Behind: TypeAlias = "tuple[Integers, Singles, GlossyLight]"
"""Rows, what each of m rays that meet metal brings to its row (m, 3), and what they see there."""

_Points: TypeAlias = "tuple[Singles, Booleans, int, float, Singles]"
"""A target's points, as `seen_points.shown_by_points` takes them."""


class GlossyLight(Kept):
    """Luminance of n mirror spots towards their viewers, kept current while things move."""

    def __init__(
        self,
        mirrors: Mirrors,
        curve: SpecularCurve,
        *,
        rays: int,
        spots: int,
        hidden_spots: int = 0,
        polariser: Doubles | None = None,
        skip: frozenset[int] = frozenset(),
        depth: int = 0,
        foil: FoilFace | None = None,
        numbers: Integers | None = None,
        lamps_apart: bool = False,
    ) -> None:
        self._mirrors = mirrors
        self._lamps_apart = lamps_apart
        self._hidden_spots, self._depth, self._foil = hidden_spots, depth, foil
        self._count, self._spots, self._skip = rays, spots, skip
        self._lobes = Lobes(mirrors, curve, polariser)
        self._aim(np.arange(len(mirrors.points)) if numbers is None else numbers)
        self._sight = Visibility()
        self._parts = SeenParts(mirrors.roughness) if depth == 0 else None  # others look but once
        self._behind: list[Behind] = []
        self._points: list[_Points] = []
        self._joined: Singles | None = None
        self._targets: dict[tuple[int, bool], Target] = {}
        self._weighed: dict[tuple[int, bool], Weighed] = {}
        self._cuts: dict[tuple[int, bool], CutTarget] = {}

    def _aim(self, numbers: Integers) -> None:
        """Choose the directions drawn from visible normals, and what each carries.

        Spots of the same number draw the same ones.
        """
        self._numbers = numbers
        square, shifts = point_sets.unit_square(self._count), point_sets.shifts_of(numbers)
        self._carry, self._facets, onward = self._lobes.drawn(square, shifts)
        self.rays = Rays(self._mirrors.points, onward)

    def renumber(self, moves: Moves) -> None:
        """Count surfaces and texels anew."""
        self.rays.renumber(moves)
        self._sight.renumber(moves)
        stayed = [t for key, t in sorted(self._targets.items()) if key[0] in moves.went]
        weighed, self._targets, self._weighed, self._cuts = self._weighed, {}, {}, {}
        for target in stayed:
            key = (moves.went[target.surface], target.key[1])
            self._targets[key] = replace(target, key=key, texel=moves.texels[target.texel])
            self._weighed[key] = weighed[target.key]

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        lamps: Sequence[LampFace],
        changed: frozenset[int],
    ) -> None:
        """Follow moved surfaces."""
        self.rays.update(surfaces, patchwork, changed, self._skip)
        fresh = changed if self._targets else frozenset(range(len(surfaces)))
        for key in [key for key in self._targets if key[0] in fresh]:
            del self._targets[key], self._weighed[key]  # it may be bright no longer
        apart = frozenset(lamp.surface for lamp in lamps) if self._lamps_apart else frozenset()
        wanted = fresh - self._skip - apart
        many = more_on(self._mirrors, self._spots, surfaces, lamps) if self._depth > 0 else {}
        targets = targets_of(surfaces, patchwork, self._spots, wanted, many)
        for target, weighed in zip(targets, self._lobes.over(targets, lamps), strict=True):
            self._targets[target.key] = target
            self._weighed[target.key] = weighed
        strata = Strata.of(surfaces, self._targets.values(), self._skip)
        self._weigh(surfaces, strata, changed)
        self._weigh_profiles(lamps)
        for surface in apart:
            self._brings[:, self.rays.surface == surface] = 0.0
        self._look_behind(surfaces, patchwork, lamps)

    def _look_behind(
        self, surfaces: Sequence[Surface], patchwork: Patchwork, lamps: Sequence[LampFace]
    ) -> None:
        """Where rays meet metal coatings, or these the foil, see what that mirrors in turn."""
        self._behind, self._joined = [], None
        if not patchwork.has_metal or self._depth >= DEPTH:
            return
        hits = [metal_hits(self.rays, surfaces)]
        if self._foil is not None and SHEET not in self._skip:
            hits.append(self._foil.hits(self.rays))
        foil, joins = self._foil, False
        if foil is not None and self._depth > 0 and SHEET not in self._skip:
            joins = lamps != () and self._joins(foil)
        for hit in chain(*hits):
            rays = 1
            if self._foil is not None and self._depth == 0:
                rays = int(np.clip(RAYS_ON // len(hit.row), 1, MOST_RAYS_ON))
            behind = looked_on(
                hit,
                self._brings[:, hit.row, hit.col].T,
                (surfaces, patchwork, lamps),
                rays=rays,
                depth=self._depth + 1,
                foil=self._foil,
                lamps_apart=joins and hit.surface == SHEET,
            )
            if self._depth == 0 and self._lobes.polariser is None:
                self._join(hit, behind[2], surfaces, lamps)
            self._behind.append(behind)
        if joins and foil is not None:
            drawn = int(np.clip(JOINED // (len(lamps) * len(self._numbers)), 1, MOST_JOINED))
            self._joined = by_foil(self._receivers, foil.face, surfaces, lamps, drawn)

    @property
    def _receivers(self) -> Receivers:
        """These spots as points that light comes to."""
        return Receivers(
            self._mirrors.points,
            self._lobes.frames,
            self._numbers,
            self._lobes.view,
            self._mirrors.roughness,
            self._lobes.curve,
        )

    def _join(
        self,
        hit: MetalHit,
        behind: GlossyLight,
        surfaces: Sequence[Surface],
        lamps: Sequence[LampFace],
    ) -> None:
        """Join lamps to these spots by way of silver, as far as their rays meet these by chance."""
        silver = BySilver.of(self._receivers, self._count, hit, surfaces, lamps)
        if silver is not None:
            behind.count_lamps(lamps, silver.of_rays)
            brought = silver.brought()
            self._joined = brought if self._joined is None else self._joined + brought

    def count_lamps(self, lamps: Sequence[LampFace], share: Singles) -> None:
        """Count of each lamp only a share (lamps, n) of what each spot sees of it."""
        for lamp, part in zip(lamps, share, strict=True):
            row, col = np.nonzero(self.rays.surface == lamp.surface)
            self._brings[:, row, col] *= part[row]
            for place, key in enumerate(sorted(self._targets)):
                if key[0] == lamp.surface:
                    *kept, counts = self._points[place]
                    self._points[place] = (*kept, counts * part)

    def _joins(self, foil: FoilFace) -> bool:
        """Whether lamps that the foil shows these mirrors are joined to them, not met by rays."""
        smooth = min(self._mirrors.roughness) < SMOOTHER * min(foil.roughness)
        return not smooth and foil.is_even

    def _weigh(self, surfaces: Sequence[Surface], strata: Strata, changed: frozenset[int]) -> None:
        """Weigh rays and points, so that each thing has the share of the lobe that it fills."""
        targets = [self._targets[key] for key in sorted(self._targets)]
        free = self._free(surfaces, strata, targets, changed)
        weighed = [self._weighed[t.key] for t in targets]
        firsts = [0, *accumulate(len(t.points) for t in targets)]
        n = len(self._mirrors.points)
        by_points = np.empty((len(targets), n), np.float32)
        for w, first, total in zip(weighed, firsts, by_points, strict=False):
            seen_points.tally_points(w.facets, free, first, HIDDEN, total)
        m = self._mirrors
        at = (m.points, self._lobes.frames, m.owners, m.views)
        whole = strata.seen(self._parts, at, m.roughness, surfaces)
        share = strata.share(
            [t.surface for t in targets],
            list(by_points),
            [w.share for w in weighed],
            whole,
            self.rays,
            self._facets,
            self._carry,
        )
        self._brings = share.of_rays
        self._points = []
        self._shown = np.zeros((0, 4), int), np.zeros((0, 4), np.float32)
        if not targets:
            return
        for target, w, first in zip(targets, weighed, firsts, strict=False):
            counts = share.of_points[:, strata.place(target.surface)]
            counts = counts * self._through(surfaces, strata, target)
            self._points.append((w.weight, free, first, HIDDEN, counts))
        self._shown = (
            np.concatenate([t.texel for t in targets]),
            np.concatenate([t.share for t in targets]),
        )

    def _free(
        self,
        surfaces: Sequence[Surface],
        strata: Strata,
        targets: Sequence[Target],
        changed: frozenset[int],
    ) -> Booleans:
        """Which points (n, m) no outlined thing hides."""
        if not targets:
            return np.zeros((len(self._mirrors.points), 0), bool)
        ends = np.concatenate([t.points for t in targets])
        owners = np.concatenate([np.full(len(t.points), t.surface) for t in targets])
        return self._sight.update(
            surfaces,
            changed,
            self._mirrors.points,
            self._mirrors.owners,
            ends,
            owners,
            frozenset(strata.outlined),
        )

    def _through(self, surfaces: Sequence[Surface], strata: Strata, target: Target) -> Singles:
        """Share (n,) of a target that what has no outline (cones, bodies) leaves to be seen."""
        others = frozenset(occluders_of(surfaces)) - frozenset(strata.outlined)
        found = np.ones(len(self._mirrors.points), np.float32)
        if not others or target.faces_away(self._mirrors.points):
            return found
        bodies = tuple(surfaces[i] for i in sorted(others))
        known = self._cuts.get(target.key)
        if known is None or known.target is not target or not known.is_by(bodies):
            known = self._cut(surfaces, others, target, bodies)
            self._cuts[target.key] = known
        found[known.near] = known.clear.any(axis=1)
        if known.partly.size:
            # of what outlines leave to be seen, where they leave anything
            outlined = frozenset(occluders_of(surfaces)) & frozenset(strata.outlined)
            rows = known.near[known.partly]
            beside = free_lines(surfaces, outlined, self._mirrors.points[rows], known.points)
            weight = known.weight * np.maximum(beside, np.float32(HIDDEN))
            seen = (weight * known.clear[known.partly]).sum(axis=1)
            found[rows] = seen / np.maximum(weight.sum(axis=1), np.float32(1e-30))
        return found

    def _cut(
        self,
        surfaces: Sequence[Surface],
        others: frozenset[int],
        target: Target,
        bodies: tuple[Surface, ...],
    ) -> CutTarget:
        """Return which lines to a target what has no outline cuts."""
        points = self._mirrors.points
        near = np.flatnonzero(may_be_cut(surfaces, others, points, target.points))
        many = target
        if near.size and self._hidden_spots:
            many = scattered(target, surfaces, self._hidden_spots)
        clear = free_lines(surfaces, others, points[near], many.points)
        partly = np.flatnonzero(clear.any(axis=1) & ~clear.all(axis=1))
        weight = np.zeros((0, len(many.points)), np.float32)
        if partly.size:
            weight = self._lobes.some(near[partly]).over((many,), ())[0].weight.sum(axis=0)
        return CutTarget(target, bodies, near, clear, partly, many.points, weight)

    def _weigh_profiles(self, lamps: Sequence[LampFace]) -> None:
        """Weigh rays that meet lamps with a spread of their own."""
        for lamp in lamps:
            if lamp.profile is not None:
                row, col = np.nonzero(self.rays.surface == lamp.surface)
                back = -self.rays.directions[row, col]
                towards = lamp.towards(back, np.abs(back @ lamp.axes[2]))
                self._brings[:, row, col] *= towards

    def evaluate(self, outlook: Outlook) -> Singles:
        """Return the luminance of each spot under each of the outlook's lights, (n, k, 3)."""
        total = outlook.brought(self.rays, self._brings)
        for rows, carry, light in self._behind:
            total = total + summed(rows, light.evaluate(outlook) * carry[:, None], len(total))
        if self._joined is not None:
            lamps = outlook.texels[1 : 1 + self._joined.shape[2]]
            _bring(self._joined, lamps, total)
        if self._points:
            shown = blend(outlook.texels, *self._shown).transpose(1, 2, 0)
            each = np.ascontiguousarray(shown, np.float32)
            for points in self._points:
                seen_points.shown_by_points(*points, each, total)
        return total


def looked_on(
    hit: MetalHit,
    carry: Singles,
    scene: tuple[Sequence[Surface], Patchwork, Sequence[LampFace]],
    *,
    rays: int,
    depth: int,
    foil: FoilFace | None,
    lamps_apart: bool = False,
) -> Behind:
    """Return what rays see that meet metal, and to which rows they bring it."""
    light = GlossyLight(
        Mirrors(*hit.spots, hit.roughness, hit.owners),
        hit.curve,
        rays=rays,
        spots=METAL_SPOTS,
        skip=frozenset((hit.surface,)),
        depth=depth,
        foil=foil,
        lamps_apart=lamps_apart,
    )
    light.update(*scene, frozenset())
    return hit.row, carry, light


def _bring(weight: Singles, shown: Singles, total: Singles) -> None:
    """Add what m points show, (m, k, 3), by weight (3, n, m), to the sums (n, k, 3) in place."""
    each = np.ascontiguousarray(shown.transpose(1, 2, 0), np.float32)
    weighted_sums.of_points(weight, each, total)
