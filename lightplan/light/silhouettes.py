"""What points see of flat things and balls, exactly: outlines cut by what stands before them.

No point sets: a lamp half behind a board, a slit, a rod before a softbox give what they
give, and it changes smoothly as they move.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat
from lightplan.light.compiled.half_seen import cells_seen
from lightplan.light.compiled.outlines import seen
from lightplan.light.compiled.placing import SIDES
from lightplan.light.kept import Kept, differing
from lightplan.light.remembered import Remembered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
    from lightplan.geometry.shapes import Cells
    from lightplan.scene.surfaces import Surface


HOLE_SIDES = 16
"""Of the polygon of equal area that stands for an opening: for the lens, so small, and each of its
sides costs at every point as much as one of a card's."""
_outlines: Remembered[Outlines] = Remembered(8)


def is_outlined(surface: Surface) -> bool:
    """Whether its outline is a polygon (or taken as one), with one opening at most."""
    shape = surface.shape
    return isinstance(shape, Ball) or (isinstance(shape, Flat) and len(shape.openings) <= 1)


@dataclass(frozen=True, eq=False)
class Outlines:
    """The outlines of s surfaces as plain arrays.

    Parameters
    ----------
    corners : (s, SIDES, 3) float
        The first `counts` of each, mm; none for a ball, and for what has no outline.
    normals, centres : (s, 3) float
    radii : (s,) float
        Of balls; 0 for the rest.
    holes, hole_counts : (s, SIDES, 3) float and (s,) int
        The opening's rim.
    """

    corners: Doubles
    counts: Integers
    normals: Doubles
    centres: Doubles
    radii: Doubles
    holes: Doubles
    hole_counts: Integers

    @classmethod
    def of(cls, surfaces: Sequence[Surface]) -> Outlines:
        """Return the outlines of a scene, each in its surface's place, the same for one tuple."""
        if not isinstance(surfaces, tuple):  # it may be altered
            return cls._made(surfaces)
        return _outlines.of((surfaces,), lambda: cls._made(surfaces))

    @classmethod
    def _made(cls, surfaces: Sequence[Surface]) -> Outlines:
        size = len(surfaces)
        corners, holes = np.zeros((2, size, SIDES, 3))
        counts, hole_counts = np.zeros((2, size), np.int64)
        normals, centres, radii = np.zeros((size, 3)), np.zeros((size, 3)), np.zeros(size)
        for i, surface in enumerate(surfaces):
            shape = surface.shape
            if not is_outlined(surface):
                continue
            centres[i] = shape.centre  # type: ignore[union-attr]
            if isinstance(shape, Ball):
                radii[i] = shape.radius
                continue
            assert isinstance(shape, Flat)
            rim = shape.outline(SIDES)
            corners[i, : len(rim)], counts[i], normals[i] = rim, len(rim), shape.normal
            for hole in shape.openings:
                right, up = np.asarray(shape.right), np.asarray(shape.up)
                middle = np.asarray(shape.centre) + hole.x * right + hole.y * up
                edge = Flat(tuple(middle), shape.right, shape.up, hole.radius, hole.radius, True)
                holes[i, :HOLE_SIDES] = edge.outline(HOLE_SIDES)
                hole_counts[i] = HOLE_SIDES
        return cls(corners, counts, normals, centres, radii, holes, hole_counts)

    def _arrays(self) -> tuple[Any, ...]:
        return (
            self.corners,
            self.counts,
            self.normals,
            self.centres,
            self.radii,
            self.holes,
            self.hole_counts,
        )

    def matte(
        self,
        targets: Integers,
        blockers: Integers,
        points: Floats,
        frames: Doubles,
        owners: Integers,
    ) -> Doubles:
        """Return the view factors (n, t) of what matte points see of the targets.

        Parameters
        ----------
        targets, blockers : (t,) and (b,) int
            Surfaces that are looked at, and that may stand before them.
        points : (n, 3) float
        frames : (n, 3, 3) float
            Rows: two tangents and the normal of each point.
        owners : (n,) int
            Surface that each point lies on, which it does not see.
        """
        views = np.zeros((len(points), 3))
        return self.glossy(targets, blockers, points, frames, owners, views, (0.0, 0.0))

    def glossy(
        self,
        targets: Integers,
        blockers: Integers,
        points: Floats,
        frames: Doubles,
        owners: Integers,
        views: Doubles,
        roughness: tuple[float, float],
    ) -> Doubles:
        """Return the shares of facets (n, t) that mirror to the viewer what is seen of targets.

        `views` (n, 3) are unit directions to the viewer in the world; the rest as in `matte`.
        """
        known = Regarded.at_nothing(len(points), len(targets), rows=1)
        given = _plain(targets, blockers, points, frames, owners, views)
        moved, stale = np.zeros(len(self.counts), bool), np.ones(len(points), bool)
        seen(*given, *roughness, *self._arrays(), moved, stale, *known)  # type: ignore[call-arg]
        return known.result

    def look_again(
        self,
        known: Regarded,
        moved: Booleans,
        stale: Booleans,
        targets: Integers,
        blockers: Integers,
        at: Places,
        roughness: tuple[float, float],
    ) -> Regarded:
        """Return what `known` is after some surfaces `moved`, and at points that are `stale`."""
        found = known.copied()
        seen(*_plain(targets, blockers, *at), *roughness, *self._arrays(), moved, stale, *found)  # type: ignore[call-arg]
        return found

    def hide_cells(
        self,
        factors: Singles,
        blockers: Integers,
        points: Floats,
        normals: Floats,
        owners: Integers,
        cells: Cells,
        cell_owners: Integers,
    ) -> None:
        """Multiply view factors (n, c) by the share of each cell that n matte points see.

        Cells lie on the surfaces `cell_owners`, (c,); the rest as in `matte`.
        """
        facing = np.asarray(normals, float)
        frames = np.stack([*point_sets.frames(facing), facing], axis=1)
        cells_seen(
            np.ascontiguousarray(points, np.float64),
            np.ascontiguousarray(frames, np.float64),
            np.asarray(owners, np.int64),
            factors,
            np.ascontiguousarray(cells.corners, np.float64),
            np.ascontiguousarray(cells.normals, np.float64),
            np.ascontiguousarray(cells.centres, np.float64),
            np.asarray(cell_owners, np.int64),
            np.asarray(blockers, np.int64),
            *self._arrays(),
        )


class Regarded(NamedTuple):
    """What n points see of t targets, and what that hangs on: see `light.compiled.outlines`."""

    result: Doubles
    met: Integers
    cones: Doubles

    @classmethod
    def at_nothing(cls, n: int, t: int, rows: int | None = None) -> Regarded:
        """Return room for what will be seen; one of `rows` does for what is looked at but once."""
        kept = n if rows is None else rows
        return cls(np.zeros((n, t)), np.zeros((kept, t), np.int64), np.zeros((kept, t, 4)))

    def copied(self) -> Regarded:
        """Return a copy, to be written to."""
        return Regarded(self.result.copy(), self.met.copy(), self.cones.copy())

    def of(self, rows: Integers) -> Regarded:
        """Return what some of the points see."""
        return Regarded(self.result[rows], self.met[rows], self.cones[rows])

    def put(self, rows: Integers, part: Regarded) -> None:
        """Write what some of the points see."""
        self.result[rows], self.met[rows], self.cones[rows] = part


Places: TypeAlias = "tuple[Floats, Doubles, Integers, Doubles]"
"""Points, frames, owners and views, as `Outlines.glossy` takes them."""


class SeenParts(Kept):
    """What n points see of outlined things: worked out anew where something has moved before them.

    A surface has moved where it is another object than before, a point where it lies elsewhere.
    """

    def __init__(self, roughness: tuple[float, float] = (0.0, 0.0)) -> None:
        self._roughness = roughness
        self._surfaces: tuple[Surface, ...] = ()
        self._of: tuple[Integers, Integers] | None = None
        self._at: Places | None = None
        self._known: Regarded | None = None
        self._unknown: Booleans = np.zeros(0, bool)

    def update(
        self,
        surfaces: Sequence[Surface],
        targets: Integers,
        blockers: Integers,
        at: Places,
        wanted: Booleans | None = None,
    ) -> Doubles:
        """Return the shares (n, t) as `Outlines.glossy` has them, not to be written to.

        Only those of points that are `wanted` (n,) are true, where that is given.
        """
        now, before = tuple(surfaces), self._surfaces
        known, old, count = self._known, self._at, len(at[0])
        if (
            known is not None
            and old is not None
            and len(now) == len(before)
            and len(old[0]) == count
            and all(map(np.array_equal, self._of or (), (targets, blockers)))
        ):
            moved = np.array([one is not other for one, other in zip(now, before, strict=True)])
            unknown = self._unknown | differing(old, at)
        else:
            known = Regarded.at_nothing(count, len(targets))
            moved, unknown = np.zeros(len(now), bool), np.ones(count, bool)
        if moved.any() or unknown.any():
            scene, given = Outlines.of(surfaces), (targets, blockers)
            if wanted is None or wanted.all():
                known = scene.look_again(known, moved, unknown, *given, at, self._roughness)
                unknown = np.zeros(count, bool)
            else:
                rows, found = np.flatnonzero(wanted), known.copied()
                places = (at[0][rows], at[1][rows], at[2][rows], at[3][rows])
                some, left = known.of(rows), unknown[rows]
                some = scene.look_again(some, moved, left, *given, places, self._roughness)
                found.put(rows, some)
                known, unknown = found, ~wanted & (unknown | moved.any())
        self._surfaces, self._of, self._at, self._known = now, (targets, blockers), at, known
        self._unknown = unknown
        return known.result


def _plain(
    targets: Integers,
    blockers: Integers,
    points: Floats,
    frames: Doubles,
    owners: Integers,
    views: Doubles,
) -> tuple[Any, ...]:
    """Arrays of the types the loop is compiled for."""
    return (
        np.asarray(targets, np.int64),
        np.asarray(blockers, np.int64),
        np.ascontiguousarray(points, np.float64),
        np.ascontiguousarray(frames, np.float64),
        np.asarray(owners, np.int64),
        np.ascontiguousarray(views, np.float64),
    )
