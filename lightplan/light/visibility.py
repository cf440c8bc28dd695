"""Which of two sets of points can see each other, kept up to date while surfaces move.

For every line of sight one bit is kept for each thing that could stand in its way.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, Integers
from lightplan.geometry.shapes import TOUCH_MM, Flat
from lightplan.light.compiled import sight
from lightplan.light.kept import NEW, Kept, Moves
from lightplan.scene.surfaces import Surface

WORD = 63  # flags in a signed integer


class Visibility(Kept):
    """Free lines of sight between n points and m targets.

    Each point may belong to a surface (its index in `owners`, or -1); when a surface
    moves only its own rows, columns and shadow are worked out again.
    """

    def __init__(self) -> None:
        self._places: list[int] = []  # place of each surface's flag
        self._words: list[Integers] = []
        self._starts: Integers = np.zeros(0, int)
        self._ends: Integers = np.zeros(0, int)
        self._moves: Moves | None = None

    def renumber(self, moves: Moves) -> None:
        """Count surfaces anew; the points of those that stayed are found at the next update."""
        self._moves = moves

    def update(
        self, surfaces: Sequence[Surface], changed: frozenset[int], starts: Floats,
        start_owners: Integers, ends: Floats, end_owners: Integers,
        among_these: frozenset[int] | None = None,
    ) -> Booleans:  # fmt: skip
        """Return (n, m) whether each line is free, given which surfaces have changed.

        Only what is `among_these` is taken to stand in the way, where that is given.
        """
        rows, cols = self._arrange(surfaces, changed, start_owners, end_owners)
        occluders = occluders_of(surfaces)
        cleared = [self._places[i] for i in range(len(surfaces)) if i in changed]
        words = 1 + max(self._places, default=0) // WORD
        self._words = [
            _laid_out(self._words[w] if w < len(self._words) else None, rows, cols,
                      [p % WORD for p in cleared if p // WORD == w])
            for w in range(words)
        ]  # fmt: skip
        at = np.ascontiguousarray(starts, float), np.ascontiguousarray(ends, float)
        for w in range(words):
            mine = [i for i in occluders if self._places[i] // WORD == w]
            self._look(surfaces, mine, changed, self._words[w], *at, rows, cols)
        if among_these is not None:
            occluders = [i for i in occluders if i in among_these]
        free = np.ones((len(starts), len(ends)), bool)
        for w, bits in enumerate(self._words):
            places = [self._places[i] for i in occluders if self._places[i] // WORD == w]
            if places:
                sight.clear_of(bits, _flags(p % WORD for p in places).sum(), free)
        return free

    def _arrange(
        self, surfaces: Sequence[Surface], changed: frozenset[int], starts: Integers,
        ends: Integers,
    ) -> tuple[Integers, Integers]:  # fmt: skip
        """Return where the rows and columns were, NEW for those that have to be looked at."""
        moves, self._moves = self._moves, None
        known = len(self._places) > 0
        if known and moves is not None:
            taken = [self._places[old] for old in moves.came if old != NEW]
            rest = iter(sorted(set(range(len(surfaces) + len(taken))) - set(taken)))
            self._places = [next(rest) if old == NEW else self._places[old] for old in moves.came]
            rows, cols = moves.rows(self._starts, starts), moves.rows(self._ends, ends)
        elif known and len(self._places) == len(surfaces) and np.array_equal(self._ends, ends):
            rows, cols = np.arange(len(starts)), np.arange(len(ends))
        else:  # a card of another shape may have another number of points
            self._places, self._words = list(range(len(surfaces))), []
            rows, cols = np.full(len(starts), NEW), np.full(len(ends), NEW)
        self._starts, self._ends = starts, ends
        rows[among(starts, changed)] = NEW
        cols[among(ends, changed)] = NEW
        return rows, cols

    def _look(
        self, surfaces: Sequence[Surface], occluders: Sequence[int], changed: frozenset[int],
        bits: Integers, starts: Doubles, ends: Doubles, rows: Integers, cols: Integers,
    ) -> None:  # fmt: skip
        """Set the flags of what stands in the way."""
        flat = [i for i in occluders if isinstance(surfaces[i].shape, Flat)]
        shapes = [s for i in flat if isinstance(s := surfaces[i].shape, Flat)]
        fresh_rows, fresh_cols = np.flatnonzero(rows == NEW), np.flatnonzero(cols == NEW)
        if flat and bits.size:
            sight.cut_lines(
                starts, ends, *packed(shapes), _flags(self._places[i] % WORD for i in flat),
                np.array([i in changed for i in flat]), rows == NEW, fresh_cols, TOUCH_MM, bits,
            )  # fmt: skip
        for index in (i for i in occluders if i not in flat):
            flag = np.int64(1) << np.int64(self._places[index] % WORD)
            shape = surfaces[index].shape
            if index in changed or len(fresh_rows) == len(rows):
                cut = shape.blocks(starts, ends)
                if cut is not None:
                    bits[cut] |= flag
                continue
            if fresh_rows.size:
                cut = shape.blocks(starts[fresh_rows], ends)
                if cut is not None:
                    bits[fresh_rows] |= flag * cut
            if fresh_cols.size:
                cut = shape.blocks(starts, ends[fresh_cols])
                if cut is not None:
                    bits[:, fresh_cols] |= flag * cut


def packed(
    shapes: Sequence[Flat],
) -> tuple[Doubles, Doubles, Doubles, Booleans, Doubles, Integers]:
    """Return flat things as arrays: centres, frames, half sizes, roundness, holes and first one."""
    holes = [hole for shape in shapes for hole in shape.openings]
    return (
        np.array([shape.centre for shape in shapes], float).reshape(-1, 3),
        np.array([shape.frame for shape in shapes], float).reshape(-1, 3, 3),
        np.array([(shape.half_width, shape.half_height) for shape in shapes]).reshape(-1, 2),
        np.array([shape.is_round for shape in shapes], bool),
        np.array(holes, float).reshape(-1, 3),
        np.cumsum([0, *(len(shape.openings) for shape in shapes)]),
    )


def _flags(places: object) -> Integers:
    return np.int64(1) << np.array(list(places), np.int64)  # type: ignore[call-overload]


def _laid_out(
    before: Integers | None, rows: Integers, cols: Integers, cleared: Sequence[int]
) -> Integers:
    """Return the bits of all lines, those that have to be looked at cleared."""
    bits = np.zeros((len(rows), len(cols)), np.int64)
    if before is not None and before.size:
        sight.lay_out(before, rows, cols, ~_flags(cleared).sum(), bits)
    return bits


def occluders_of(surfaces: Sequence[Surface]) -> list[int]:
    """Return the surfaces that can stand between others: what bounds the scene cannot."""
    has_floor = any(s.role == "room" for s in surfaces)
    bounds = ("sheet", "room") if has_floor else ("sheet", "room", "table")
    return [i for i, s in enumerate(surfaces) if s.role not in bounds]


def among(owners: Integers, surfaces: frozenset[int]) -> Booleans:
    """Return which owners are among some surfaces."""
    found = np.zeros(len(owners), bool)
    for index in surfaces:
        found |= owners == index
    return found
