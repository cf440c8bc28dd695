"""Ways of light from a lamp by way of a mirror to points, kept as long as none of these moves."""

from __future__ import annotations

from operator import is_
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from lightplan.light.kept import Kept, differing

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Booleans, Doubles, Integers, Singles

Points: TypeAlias = "tuple[Doubles, Doubles, Integers]"
"""Places (n, 3), frames (n, 3, 3) and numbers (n,), as `light.glints.Receivers` has them."""


class JoinedBy(NamedTuple):
    """m ways of light: whose, (m,), rising; places on the mirror and ends on the lamp, (m, 3).

    The weight (3, m) is what the lamp counts there.
    """

    row: Integers
    places: Doubles
    ends: Doubles
    weight: Singles

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
        )
        return both._taken(np.argsort(both.row, kind="stable"))

    def _taken(self, at: Integers) -> JoinedBy:
        """Return the ways at some places; many times quicker than by brackets."""
        row, weight = self.row.take(at), self.weight.take(at, axis=1)
        return JoinedBy(row, self.places.take(at, axis=0), self.ends.take(at, axis=0), weight)


class _Found(NamedTuple):
    """Ways over some things, and to which points (n,) they were looked for."""

    things: tuple[object, ...]
    points: Points
    looked: Booleans
    ways: JoinedBy | None


class KnownWays(Kept):
    """Ways over one mirror, by what they lead to and how they were drawn."""

    def __init__(self) -> None:
        self._known: dict[tuple[int, int], _Found] = {}

    def of(
        self,
        key: tuple[int, int],
        things: tuple[object, ...],
        points: Points,
        rows: Integers,
        look: Callable[[Integers], JoinedBy],
    ) -> JoinedBy:
        """Return the ways to the points of some rows.

        Parameters
        ----------
        key : (int, int)
            The same for what may be found again.
        things : tuple
            Mirror and lamp; other objects than before have moved.
        points : (n, 3), (n, 3, 3) and (n,) arrays
        rows : (m,) int
        look : callable
            Finds the ways to some rows, each for itself.
        """
        n, asked = len(points[0]), np.zeros(len(points[0]), bool)
        asked[rows] = True
        found = self._known.get(key)
        if found is None or not all(map(is_, found.things, things)) or len(found.looked) != n:
            found = _Found(things, points, np.zeros(n, bool), None)
        stays = found.looked & ~differing(found.points, points)
        due = asked & ~stays
        ways = found.ways
        if ways is not None and not stays.all():
            ways = ways.some(stays[ways.row])
        if ways is None or due.any():
            more = look(np.flatnonzero(due))
            ways = more if ways is None else ways.along(more)
        self._known[key] = _Found(things, points, stays | due, ways)
        return ways if asked.all() else ways.some(asked[ways.row])
