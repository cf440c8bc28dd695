"""Light that comes straight from a lamp to matte points, with its shadows.

What a point sees of a lamp is exact: its outline, cut by the outlines of what stands before
it, weighed by Lambert's formula. Only what has no outline of few corners (a cone, a body of
triangles) hides a share that is told by fixed points on the lamp, and a photometric file is
averaged over them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat, Samples
from lightplan.light.kept import Kept
from lightplan.light.silhouettes import SeenParts, is_outlined
from lightplan.light.visibility import free_lines, may_be_cut, occluders_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
    from lightplan.light.coat import Entering
    from lightplan.light.emission import LampFace
    from lightplan.scene.surfaces import Surface

COAT_SPOTS = 34  # points on a lamp, over which what a coat lets in of its light is averaged
COAT_HIDDEN = np.float32(1e-4)  # what a hidden one still counts, where none is seen
WHOLE = 1 - 1e-6  # share of a lamp that is all of it


class DirectLight(Kept):
    """View factor times visibility from n matte points to every lamp, (lamps, n).

    Parameters
    ----------
    samples : int
        Points on each lamp, for what has no outline and for photometric files.
    finer : int
        The same where such a thing hides part of the lamp; 0 leaves this step out.
    enters : Entering or None
        Share of the light that the points let in, by its cosine; all of it without.
    """

    def __init__(self, samples: int, *, finer: int = 0, enters: Entering | None = None) -> None:
        self._samples, self._finer, self._enters = samples, finer, enters
        self._known: dict[str, SeenParts] = {}

    def update(
        self,
        surfaces: Sequence[Surface],
        lamps: Sequence[LampFace],
        points: Floats,
        normals: Floats,
        owners: Integers,
        spread: Doubles | None = None,
        *,
        called: str = "points",
    ) -> Doubles:
        """Return the factors; luminance of white matte = factor x luminance of the lamp.

        Parameters
        ----------
        called : str
            Points that go by one name are taken to be those of before, as far as they are.
        spread : (n, k, 3) float or None
            Where a point stands for a patch: points of it, over which light is averaged where
            part of a lamp is hidden.
        """
        if not lamps:
            return np.zeros((0, len(points)))
        scene = _Scene.of(surfaces, lamps)
        found = scene.seen(self._kept(called), points, normals, owners, shadows=True)
        if spread is not None:
            bare = self._kept(called + " in the open")
            whole = scene.seen(bare, points, normals, owners, shadows=False)
            partly = np.flatnonzero(((found > 0) & (found < WHOLE * whole)).any(axis=0))
            if partly.size:
                each, asked = spread.shape[1], np.zeros(len(points), bool)
                asked[partly] = True
                some = scene.seen(
                    self._kept(called + " of patches"),
                    spread.reshape(-1, 3),
                    np.repeat(normals, each, axis=0),
                    np.repeat(owners, each),
                    shadows=True,
                    wanted=np.repeat(asked, each),
                )
                found[:, partly] = some.reshape(len(lamps), -1, each)[:, partly].mean(axis=2)
        if self._enters is not None:
            found = found * _let_in(scene, self._enters, points, normals)
        rough = scene.others or any(lamp.profile is not None for lamp in lamps)
        return found * self._shares(scene, points, normals) if rough else found

    def _kept(self, called: str) -> SeenParts:
        """Return what is known of points that go by a name."""
        return self._known.setdefault(called, SeenParts())

    def _shares(self, scene: _Scene, points: Floats, normals: Floats) -> Doubles:
        """Return what photometric files, and things without an outline, leave of the factors."""
        found = np.ones((len(scene.lamps), len(points)))
        for index, lamp in enumerate(scene.lamps):
            share, partly = _share(scene, lamp, self._samples, points, normals)
            if self._finer and partly.any():
                some = (points[partly], normals[partly])
                share[partly] = _share(scene, lamp, self._finer, *some)[0]
            found[index] = share
        return found


@dataclass(frozen=True, eq=False)
class _Scene:
    """Lamps and what may stand before them; `others` have no outline."""

    surfaces: Sequence[Surface]
    lamps: Sequence[LampFace]
    blockers: Integers
    others: frozenset[int]

    @classmethod
    def of(cls, surfaces: Sequence[Surface], lamps: Sequence[LampFace]) -> _Scene:
        before = occluders_of(surfaces)
        outlined = [i for i in before if is_outlined(surfaces[i])]
        others = frozenset(before) - frozenset(outlined)
        return cls(surfaces, lamps, np.array(outlined, np.int64), others)

    def seen(
        self,
        known: SeenParts,
        points: Floats,
        normals: Floats,
        owners: Integers,
        *,
        shadows: bool,
        wanted: Booleans | None = None,
    ) -> Doubles:
        """View factors (lamps, n) of what points see of the lamps' bright sides.

        Those of points that are not `wanted` may be any number.
        """
        tangents, others = point_sets.frames(np.asarray(normals, float))
        frames = np.stack([tangents, others, normals], axis=1)
        targets = np.array([lamp.surface for lamp in self.lamps])
        blockers = self.blockers if shadows else self.blockers[:0]
        at = (points, frames, owners, np.zeros((len(points), 3)))
        factors = known.update(self.surfaces, targets, blockers, at, wanted).T.copy()
        for index, lamp in enumerate(self.lamps):
            if isinstance(lamp.shape, Flat):
                before = (points - np.asarray(lamp.shape.centre)) @ lamp.shape.normal > 0
                factors[index] *= before
        return factors


def _share(
    scene: _Scene, lamp: LampFace, count: int, points: Floats, normals: Floats
) -> tuple[Doubles, Booleans]:
    """Share (n,) of a lamp's light that its file, and what has no outline, let through.

    Also where part of the lamp is hidden, but not all.
    """
    spots = _spread(lamp.shape, count)
    share, partly = np.ones(len(points)), np.zeros(len(points), bool)
    if lamp.profile is None:
        mine = np.flatnonzero(may_be_cut(scene.surfaces, scene.others, points, spots.points))
        points, normals = points[mine], normals[mine]
    else:
        mine = np.arange(len(points))
    if not mine.size:
        return share, partly
    kernel = lamp_kernel(spots, points, normals)
    whole = kernel.sum(axis=1)
    if scene.others:
        free = free_lines(scene.surfaces, scene.others, points, spots.points)
        partly[mine] = free.any(axis=1) & ~free.all(axis=1)
        # of what outlines leave to be seen, where they leave anything
        outlined = [int(i) for i in scene.blockers]
        beside = kernel * free_lines(scene.surfaces, outlined, points, spots.points)
        some = beside.sum(axis=1) > 0
        whole[some] = beside[some].sum(axis=1)
        kernel[some] = beside[some]
        kernel = kernel * free
    if lamp.profile is not None:
        kernel = kernel * lamp.profile_factor(points, spots.points, spots.normals)
    kept = kernel.sum(axis=1)
    share[mine] = np.divide(kept, whole, out=np.zeros(len(mine)), where=whole > 0)
    return share, partly


@lru_cache(maxsize=64)
def _spread(shape: Flat | Ball, count: int) -> Samples:
    return shape.sample(4 * count if isinstance(shape, Ball) else count)


def _let_in(scene: _Scene, enters: Entering, points: Floats, normals: Floats) -> Doubles:
    """Return the share (lamps, n) of each lamp's light that a coat lets in.

    Averaged over points of what is seen of the lamp: a part that stands low adds less.
    """
    shares = np.ones((len(scene.lamps), len(points)))
    for index, lamp in enumerate(scene.lamps):
        spots = _spread(lamp.shape, COAT_SPOTS)
        step = spots.points[None] - np.asarray(points)[:, None]
        cosine = np.einsum("nmc,nc->nm", step, normals) / np.linalg.norm(step, axis=2)
        free = free_lines(scene.surfaces, occluders_of(scene.surfaces), points, spots.points)
        weight = lamp_kernel(spots, points, normals) * np.maximum(free, COAT_HIDDEN)
        whole = weight.sum(axis=1)
        lit = whole > 0
        shares[index, lit] = (enters(cosine) * weight).sum(axis=1)[lit] / whole[lit]
    return shares


def lamp_kernel(spots: Samples, points: Floats, normals: Floats) -> Singles:
    """Return cos cos dA / (pi r2) from n points to m spots, (n, m)."""
    start, facing = (np.asarray(v.T, np.float32)[:, :, None] for v in (points, normals))
    end, away = (np.asarray(v.T, np.float32)[:, None] for v in (spots.points, spots.normals))
    x, y, z = end[0] - start[0], end[1] - start[1], end[2] - start[2]
    squared = np.maximum(x * x + y * y + z * z, 1.0)
    arrive = x * facing[0] + y * facing[1] + z * facing[2]
    leave = x * away[0] + y * away[1] + z * away[2]
    kernel: Singles = np.maximum(arrive, 0) * np.minimum(leave, 0)
    kernel /= squared * squared
    kernel *= (spots.areas / -np.pi).astype(np.float32)
    return kernel
