"""Ways of light from a lamp by way of a mirror to points, kept as long as none of these moves."""

from __future__ import annotations

from operator import is_
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from lightplan.light.kept import Kept, differing

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.scene.surfaces import Surface

Points: TypeAlias = "tuple[Doubles, Doubles, Integers]"
"""Places (n, 3), frames (n, 3, 3) and numbers (n,), as `light.glints.Receivers` has them."""


class JoinedBy(NamedTuple):
    """m ways of light: whose, (m,), rising; places on the mirror and ends on the lamp, (m, 3).

    The weight (3, m) is what the lamp counts there, and `clear` (m,) says which ways are free of
    what has not moved lately; all are where nobody asked.
    """

    row: Integers
    places: Doubles
    ends: Doubles
    weight: Singles
    clear: Booleans

    @classmethod
    def whole(cls, row: Integers, places: Doubles, ends: Doubles, weight: Singles) -> JoinedBy:
        """Return ways of which nobody has asked yet what stands in them."""
        return cls(row, places, ends, weight, np.ones(len(row), bool))

    def some(self, which: Booleans) -> JoinedBy:
        """Return some of the ways."""
        return self._taken(np.flatnonzero(which))

    def along(self, other: JoinedBy) -> JoinedBy:
        """Return both, those of one point in their own order."""
        if not len(other.row):
            return self
        both = JoinedBy(
            np.concatenate((self.row, other.row)),
            np.concatenate((self.places, other.places)),
            np.concatenate((self.ends, other.ends)),
            np.concatenate((self.weight, other.weight), axis=1),
            np.concatenate((self.clear, other.clear)),
        )
        return both._taken(np.argsort(both.row, kind="stable"))

    def _taken(self, at: Integers) -> JoinedBy:
        """Return the ways at some places; many times quicker than by brackets."""
        row, weight, clear = self.row.take(at), self.weight.take(at, axis=1), self.clear.take(at)
        places, ends = self.places.take(at, axis=0), self.ends.take(at, axis=0)
        return JoinedBy(row, places, ends, weight, clear)


class _Found(NamedTuple):
    """Ways over some things, and to which points (n,) they were looked for.

    What is `clear` is so by the things that stayed in a `turn` of `KnownWays`.
    """

    things: tuple[object, ...]
    points: Points
    looked: Booleans
    ways: JoinedBy | None
    turn: int


class KnownWays(Kept):
    """Ways over one mirror, by what they lead to and how they were drawn.

    What moves once moves again: surfaces that have moved last are counted `apart`, and of each
    way is kept whether all others leave it free.
    """

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], _Found] = {}
        self._surfaces: tuple[Surface, ...] = ()
        self._compared: tuple[Points, Points, Booleans] | None = None
        self._turn, self.apart = 0, frozenset[int]()

    def of(
        self,
        key: tuple[int, int],
        things: tuple[object, ...],
        points: Points,
        rows: Integers,
        surfaces: Sequence[Surface],
        look: Callable[[Integers], JoinedBy],
        free: Callable[[JoinedBy, frozenset[int]], Booleans],
    ) -> JoinedBy:
        """Return the ways to the points of some rows, clear of all that is not `apart`.

        Parameters
        ----------
        key : (int, int)
            The same for what may be found again.
        things : tuple
            Mirror and lamp; other objects than before have moved.
        points : (n, 3), (n, 3, 3) and (n,) arrays
        rows : (m,) int
        surfaces : sequence of Surface
            All of the scene, by which it is told what has moved.
        look : callable
            Finds the ways to some rows, each for itself.
        free : callable
            Tells which ways some surfaces leave free.
        """
        n, asked = len(points[0]), np.zeros(len(points[0]), bool)
        asked[rows] = True
        rest = self._that_stayed(surfaces)
        found = self._known.get(key)
        if found is None or not all(map(is_, found.things, things)) or len(found.looked) != n:
            found = _Found(things, points, np.zeros(n, bool), None, self._turn)
        stays = found.looked & ~self._differing(found.points, points)
        due = asked & ~stays
        ways = found.ways
        if ways is not None and not stays.all():
            ways = ways.some(stays[ways.row])
        if ways is not None and found.turn != self._turn:
            ways = ways._replace(clear=free(ways, rest))
        if ways is None or due.any():
            more = look(np.flatnonzero(due))
            more = more._replace(clear=free(more, rest))
            ways = more if ways is None else ways.along(more)
        self._known[key] = _Found(things, points, stays | due, ways, self._turn)
        return ways if asked.all() else ways.some(asked[ways.row])

    def _that_stayed(self, surfaces: Sequence[Surface]) -> frozenset[int]:
        """Return which surfaces have not moved lately."""
        before, now = self._surfaces, tuple(surfaces)
        if now is not before:
            same = len(now) == len(before)
            moved = (i for i in range(len(now)) if not same or now[i] is not before[i])
            last = frozenset(moved)
            if last and last != self.apart:
                self.apart, self._turn = last, self._turn + 1
            self._surfaces = now
        return frozenset(range(len(now))) - self.apart

    def _differing(self, before: Points, now: Points) -> Booleans:
        """Return which points are other than before; asked once for each lamp and more."""
        known = self._compared
        if known is None or not all(map(is_, (*known[0], *known[1]), (*before, *now))):
            known = self._compared = (before, now, differing(before, now))
        return known[2]
