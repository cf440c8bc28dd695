"""Which of two sets of points can see each other, kept up to date while surfaces move."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Booleans, Floats, Integers
from lightplan.geometry.flats import cuts
from lightplan.light.kept import Kept, Moves, gathered
from lightplan.scene.surfaces import Surface


class Visibility(Kept):
    """Free lines of sight between n points and m targets.

    Each point may belong to a surface (its index in `owners`, or -1); when a surface
    moves only its own rows, columns and shadow are worked out again.
    """

    def __init__(self) -> None:
        self._cuts: list[Booleans | None] = []
        self._starts: Integers | None = None
        self._ends: Integers | None = None
        self._moves: Moves | None = None

    def renumber(self, moves: Moves) -> None:
        """Count surfaces anew; the points of those that stayed are found at the next update."""
        self._moves = moves

    def update(
        self, surfaces: Sequence[Surface], changed: frozenset[int], starts: Floats,
        start_owners: Integers, ends: Floats, end_owners: Integers,
    ) -> Booleans:  # fmt: skip
        """Return (n, m) whether each line is free, given which surfaces have changed."""
        if self._moves is not None:
            self._arrange(self._moves, start_owners, end_owners)
            self._moves = None
        # a card of another shape may have another number of points
        same = self._ends is not None and np.array_equal(self._ends, end_owners)
        fresh = len(self._cuts) != len(surfaces) or not same
        if fresh:
            self._cuts = [None] * len(surfaces)
        self._starts, self._ends = start_owners, end_owners
        occluders = _occluders(surfaces)
        moved = [i for i in occluders if fresh or i in changed]
        still = [i for i in occluders if not (fresh or i in changed)]
        found = cuts([surfaces[i].shape for i in moved], starts, ends)
        for index, cut in zip(moved, found, strict=True):
            self._cuts[index] = cut
        if still:
            rows = np.flatnonzero(among(start_owners, changed))
            cols = np.flatnonzero(among(end_owners, changed))
            self._renew(surfaces, still, starts, ends, rows, cols)
        blocked = np.zeros((len(starts), len(ends)), bool)
        for index in occluders:
            cut = self._cuts[index]
            if cut is not None:
                blocked |= cut
        return ~blocked

    def _arrange(self, moves: Moves, starts: Integers, ends: Integers) -> None:
        """Lay what is known of surfaces that stayed where it now belongs."""
        if self._starts is None or self._ends is None:
            return
        rows, cols = moves.rows(self._starts, starts), moves.rows(self._ends, ends)
        self._cuts = [
            None if cut is None else gathered(cut, rows, cols) for cut in moves.listed(self._cuts)
        ]
        self._ends = ends

    def _renew(
        self, surfaces: Sequence[Surface], still: Sequence[int], starts: Floats, ends: Floats,
        rows: Integers, cols: Integers,
    ) -> None:  # fmt: skip
        """Work out what surfaces that stand still hide of, and from, what has moved."""
        shapes = [surfaces[i].shape for i in still]
        if rows.size:
            of_rows = cuts(shapes, starts[rows], ends)
            for index, cut in zip(still, of_rows, strict=True):
                self._store(index, (rows, slice(None)), cut, (len(starts), len(ends)))
        if cols.size and starts is ends:  # lines are cut alike from both ends
            of_cols = [None if cut is None else cut.T for cut in of_rows]
        elif cols.size:
            of_cols = cuts(shapes, starts, ends[cols])
        if cols.size:
            for index, cut in zip(still, of_cols, strict=True):
                self._store(index, (slice(None), cols), cut, (len(starts), len(ends)))

    def _store(
        self, index: int, part: tuple[Integers | slice, Integers | slice], cut: Booleans | None,
        shape: tuple[int, int],
    ) -> None:  # fmt: skip
        stored = self._cuts[index]
        if stored is None:
            if cut is None:
                return
            stored = np.zeros(shape, bool)
        self._cuts[index] = stored = stored.copy()
        stored[part] = False if cut is None else cut


def _occluders(surfaces: Sequence[Surface]) -> list[int]:
    """Surfaces that can stand between others: what bounds the scene cannot."""
    has_floor = any(s.role == "room" for s in surfaces)
    bounds = ("sheet", "room") if has_floor else ("sheet", "room", "table")
    return [i for i, s in enumerate(surfaces) if s.role not in bounds]


def among(owners: Integers, surfaces: frozenset[int]) -> Booleans:
    """Return which owners are among some surfaces."""
    found = np.zeros(len(owners), bool)
    for index in surfaces:
        found |= owners == index
    return found
