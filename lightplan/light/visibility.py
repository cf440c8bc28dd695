"""Which of two sets of points can see each other, kept up to date while surfaces move."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Booleans, Floats, Integers
from lightplan.scene.surfaces import Surface


class Visibility:
    """Free lines of sight between n points and m targets.

    Each point may belong to a surface (its index in `owners`, or -1); when a surface
    moves only its own rows, columns and shadow are worked out again.
    """

    def __init__(self) -> None:
        self._cuts: list[Booleans | None] = []
        self._ends: Integers | None = None

    def update(
        self, surfaces: Sequence[Surface], changed: frozenset[int], starts: Floats,
        start_owners: Integers, ends: Floats, end_owners: Integers,
    ) -> Booleans:  # fmt: skip
        """Return (n, m) whether each line is free, given which surfaces have changed."""
        # a card of another shape may have another number of points
        same = self._ends is not None and np.array_equal(self._ends, end_owners)
        fresh = len(self._cuts) != len(surfaces) or not same
        if fresh:
            self._cuts, self._ends = [None] * len(surfaces), end_owners
        rows = np.flatnonzero(among(start_owners, changed))
        cols = np.flatnonzero(among(end_owners, changed))
        free = np.ones((len(starts), len(ends)), bool)
        for index, surface in _occluders(surfaces):
            if fresh or index in changed:
                self._cuts[index] = surface.shape.blocks(starts, ends)
            else:
                self._renew(index, surface, starts, ends, rows, cols)
            cut = self._cuts[index]
            if cut is not None:
                free &= ~cut
        return free

    def _renew(
        self, index: int, surface: Surface, starts: Floats, ends: Floats, rows: Integers,
        cols: Integers,
    ) -> None:  # fmt: skip
        for part_rows, part_cols in ((rows, None), (None, cols)):
            part = part_rows if part_cols is None else part_cols
            if part is None or not part.size:
                continue
            a = starts if part_rows is None else starts[part_rows]
            b = ends if part_cols is None else ends[part_cols]
            cut = surface.shape.blocks(a, b)
            if self._cuts[index] is None:
                if cut is None:
                    continue
                self._cuts[index] = np.zeros((len(starts), len(ends)), bool)
            stored = self._cuts[index]
            assert stored is not None
            if part_cols is None:
                stored[part] = False if cut is None else cut
            else:
                stored[:, part] = False if cut is None else cut


def _occluders(surfaces: Sequence[Surface]) -> list[tuple[int, Surface]]:
    """Surfaces that can stand between others: what bounds the scene cannot."""
    has_floor = any(s.role == "room" for s in surfaces)
    bounds = ("sheet", "room") if has_floor else ("sheet", "room", "table")
    return [(i, s) for i, s in enumerate(surfaces) if s.role not in bounds]


def among(owners: Integers, surfaces: frozenset[int]) -> Booleans:
    """Return which owners are among some surfaces."""
    found = np.zeros(len(owners), bool)
    for index in surfaces:
        found |= owners == index
    return found
