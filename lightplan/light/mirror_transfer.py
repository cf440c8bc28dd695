"""Light that matte points get by way of a rough mirror: the foil itself, a silvered card."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.shapes import Flat
from lightplan.light.diffracted import diffracted
from lightplan.light.direct import lamp_kernel
from lightplan.light.glints import Receivers, glints
from lightplan.light.glossy import GlossyLight
from lightplan.light.kept import Kept
from lightplan.light.known_ways import KnownWays
from lightplan.light.metal_hits import SHEET
from lightplan.light.mirror_face import GAP, MirrorFace
from lightplan.light.outlook import Outlook, summed
from lightplan.light.visibility import Visibility, among

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles
    from lightplan.light.cells import Patchwork
    from lightplan.light.coat import Entering
    from lightplan.light.emission import LampFace
    from lightplan.scene.surfaces import Surface

# Places of the mirror at which each point and lamp are joined, in each of two ways, over the
# mirror's spots: through fixed spots of a narrow mirror a point sees a lamp in some by chance, or
# in none (`light.glints`). Points to which a lamp brings much so are joined over more times as
# many: else foil beside a card shows grain.
JOINED, MORE_JOINED = 1.6, 8
# And over more times as many again where they are so near the foil that the edge of a lamp in it
# is narrow: its cells differ from each other then, and foil shows each sharply.
SHARPER, EDGE = 4, 2.6  # width of such an edge over roughness and distance
NARROW = 1 / 16  # of the foil's longer side
RAYS, LAMP_SPOTS = 5, 9  # per pair of point and mirror spot
CLOSER = 2  # times that the gap may be halved for that
FINDING = 89  # spots to find how near a mirror is
FAINT = 2e-6  # view factors below this are left out


class MirrorTransfer(Kept):
    """What n matte points get by way of one mirror face.

    Points on the surfaces that move are kept apart from the rest, so that while one card
    moves only its own paths are laid anew.
    """

    def __init__(self, face: MirrorFace, spots: int = 21, enters: Entering | None = None) -> None:
        self._face, self._spots, self._enters = face, spots, enters
        self._groups: list[tuple[Integers, _Paths, bool]] = []
        self._by_mirror: Singles | None = None
        self._ways, self._sent_on = KnownWays(), KnownWays()
        self._moving: frozenset[int] | None = None
        self._count = 0

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        lamps: Sequence[LampFace],
        changed: frozenset[int],
        points: Floats,
        normals: Floats,
        owners: Integers,
    ) -> None:
        """Follow moved surfaces; `owners` are the surfaces of the points."""
        self._count = len(points)
        moves = among(owners, changed)
        regroup = changed != self._moving or self._face.surface in changed
        if regroup or moves.any():
            old = {} if regroup else {which: (rows, paths) for rows, paths, which in self._groups}
            self._moving = changed
            self._groups = []
            for which in (False, True):
                rows = np.flatnonzero(moves == which)
                known = old.get(which)
                if known is None or not np.array_equal(known[0], rows):
                    known = (rows, _Paths(self._face, self._spots, self._enters))
                if rows.size:
                    self._groups.append((rows, known[1], which))
        joins = self._face.joins and isinstance(surfaces[self._face.surface].shape, Flat)
        for at, paths, _ in self._groups:
            if paths.is_new or moves[at[0]]:
                paths.lay(surfaces, points[at], normals[at], at, joins=joins)
            paths.update(surfaces, patchwork, lamps, changed, points[at], owners[at])
        self._by_mirror = None
        if joins and lamps:
            frames = np.stack([*point_sets.frames(np.asarray(normals, float)), normals], axis=1)
            numbers = np.arange(len(points))
            receivers = Receivers(np.asarray(points, float), frames, numbers, enters=self._enters)
            near = self._is_near(surfaces, receivers.points)
            self._by_mirror = self._joined(receivers, surfaces, lamps, near)

    def _is_near(self, surfaces: Sequence[Surface], points: Doubles) -> Booleans:
        """Return which points see a lamp's edge narrow in the foil; a grating's colours blur it."""
        shape = surfaces[self._face.surface].shape
        if self._face.surface != SHEET or self._face.grating is not None:
            return np.zeros(len(points), bool)
        assert isinstance(shape, Flat)
        place = np.abs((points - np.asarray(shape.centre)) @ shape.frame)
        beside = np.maximum(place - [shape.half_width, shape.half_height, 0.0], 0.0)
        edge = EDGE * min(self._face.roughness) * np.linalg.norm(beside, axis=1)
        return np.asarray(edge < NARROW * 2.0 * max(shape.half_width, shape.half_height))

    def _joined(
        self,
        receivers: Receivers,
        surfaces: Sequence[Surface],
        lamps: Sequence[LampFace],
        near: Booleans,
    ) -> Singles:
        """Return what lamps of luminance 1 bring by way of the mirror, (3, n, lamps)."""
        face, drawn, known = self._face, round(JOINED * self._spots), self._ways
        finer = MORE_JOINED * drawn * np.where(near, SHARPER, 1)
        found = glints(receivers, face.between, surfaces, lamps, drawn, finer, known)
        if face.grating is not None:
            found *= np.float32(1.0 - face.grating.strength)
            given = (face.grating, surfaces, lamps, drawn, self._sent_on)
            found += diffracted(receivers, face, *given)
        return found

    def evaluate(self, outlook: Outlook) -> Singles:
        """Return the light received under each of k lights, as luminance of white, (n, k, 3)."""
        total = np.zeros((self._count, *outlook.texels.shape[1:]), np.float32)
        for rows, paths, _ in self._groups:
            total[rows] = paths.evaluate(outlook)
        if self._by_mirror is not None:
            lamps = outlook.texels[1 : 1 + self._by_mirror.shape[2]]
            total += np.einsum("cnl,lkc->nkc", self._by_mirror, lamps)
        return total


class _Paths(Kept):
    """Paths from points over spots of a mirror to what the mirror shows there."""

    def __init__(self, face: MirrorFace, spots: int, enters: Entering | None) -> None:
        self._face, self._spots, self._enters = face, spots, enters
        self._light: GlossyLight | None = None
        self._spread: list[_Spread] = []
        self._count, self.is_new = 0, True

    def lay(
        self,
        surfaces: Sequence[Surface],
        points: Floats,
        normals: Floats,
        numbers: Integers,
        *,
        joins: bool,
    ) -> None:
        """Choose the pairs of point and spot that matter.

        What a pair looks at hangs on the point's number, not on which others are laid with it.
        """
        self._count, self._light, self.is_new = len(points), None, False
        counts, self._spread, parts = self._counts(surfaces, points), [], []
        for count in np.unique(counts):
            rows = np.flatnonzero(counts == count)
            spots = self._face.spots(surfaces, int(count))
            kernel = lamp_kernel(spots, points[rows], normals[rows])
            row, col = np.nonzero(kernel > FAINT)
            if row.size:
                self._spread.append(_Spread(rows, spots.points, row, col, Visibility()))
                number = numbers[rows[row]] * len(spots.points) + col
                chosen = (spots.points[col], spots.normals[col])
                parts.append((rows[row], kernel[row, col], number, *chosen))
        if not parts:
            return
        joined = [np.concatenate(values) for values in zip(*parts, strict=True)]
        self._order = np.argsort(joined[0], kind="stable")
        self._row, self._share, number, at, facing = (values[self._order] for values in joined)
        views = np.asarray(points)[self._row] - at
        views = views / np.linalg.norm(views, axis=1, keepdims=True)
        if self._enters is not None:
            cosine = -np.sum(views * np.asarray(normals)[self._row], axis=1)
            self._share = self._share * self._enters(cosine).astype(np.float32)
        self._light = GlossyLight(
            self._face.mirrors(at, facing, views),
            self._face.curve,
            rays=RAYS,
            spots=LAMP_SPOTS,
            skip=frozenset((self._face.surface,)),
            lamps_apart=joins,
            numbers=number,
        )

    def _counts(self, surfaces: Sequence[Surface], points: Floats) -> Integers:
        """Spots of the mirror that each point needs: closer ones where the mirror is near."""
        spots = self._face.spots(surfaces, FINDING)
        steps = np.asarray(points)[:, None] - spots.points
        way = np.sqrt(np.einsum("nmc,nmc->nm", steps, steps).min(axis=1, initial=np.inf))
        counts: Integers = np.full(len(points), self._spots)
        gap = np.sqrt(spots.areas.sum() / self._spots)
        for step in range(1, CLOSER + 1):
            counts[gap * 2.0 ** (1 - step) > GAP * way] = self._spots * 4**step
        return counts

    def update(
        self,
        surfaces: Sequence[Surface],
        patchwork: Patchwork,
        lamps: Sequence[LampFace],
        changed: frozenset[int],
        points: Floats,
        owners: Integers,
    ) -> None:
        """Follow moved surfaces."""
        if self._light is None:
            return
        free = []
        for part in self._spread:
            at_owners = np.full(len(part.at), self._face.surface)
            own = (points[part.rows], owners[part.rows])
            seen = part.sight.update(surfaces, changed, *own, part.at, at_owners)
            free.append(seen[part.row, part.col])
        self._kept = self._share * np.concatenate(free)[self._order]
        self._light.update(surfaces, patchwork, lamps, changed)

    def evaluate(self, outlook: Outlook) -> Singles:
        """Return the light received, (n, k, 3)."""
        if self._light is None:
            return np.zeros((self._count, *outlook.texels.shape[1:]), np.float32)
        seen = self._light.evaluate(outlook) * self._kept[:, None, None]
        return summed(self._row, seen, self._count)


class _Spread(Kept):
    """Points that a mirror has equally many spots for.

    Parameters
    ----------
    rows : (n,) int
        Which points.
    at : (m, 3) float
        The spots.
    row, col : (p,) int
        The pairs that matter.
    sight : Visibility
    """

    def __init__(
        self, rows: Integers, at: Doubles, row: Integers, col: Integers, sight: Visibility
    ) -> None:
        self.rows, self.at, self.row, self.col, self.sight = rows, at, row, col, sight
