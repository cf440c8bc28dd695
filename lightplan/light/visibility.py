"""Which of two sets of points can see each other, kept up to date while surfaces move.

For every line of sight one bit is kept for each thing that could stand in its way.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.balls import ball_round
from lightplan.geometry.cone import Cone
from lightplan.geometry.shapes import TOUCH_MM
from lightplan.light.compiled import sight
from lightplan.light.kept import NEW, Kept, Moves
from lightplan.light.packed import Packed

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lightplan.arrays import Booleans, Doubles, Floats, Integers
    from lightplan.scene.surfaces import Surface

WORD = 31  # flags in a signed integer of 32 bits; there are many of these


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
        """Count surfaces anew; the points of those that stayed are found at the next update.

        Counted twice without an update between, nothing of before can be told any more.
        """
        if self._moves is not None:
            self._places = []
        self._moves = moves

    def update(
        self,
        surfaces: Sequence[Surface],
        changed: frozenset[int],
        starts: Floats,
        start_owners: Integers,
        ends: Floats,
        end_owners: Integers,
        among_these: frozenset[int] | None = None,
    ) -> Booleans:
        """Return (n, m) whether each line is free, given which surfaces have changed.

        Only what is `among_these` is taken to stand in the way, where that is given.
        """
        rows, cols = self._arrange(surfaces, changed, start_owners, end_owners)
        scene = Packed.of(surfaces)
        cleared = self._masks(changed)
        words = 1 + max(self._places, default=0) // WORD
        at = np.ascontiguousarray(starts, float), np.ascontiguousarray(ends, float)
        shape = len(starts), len(ends)
        found: list[Integers] = []
        for w in range(words):
            if w < len(self._words):
                bits = np.empty(shape, np.int32)
                sight.lay_out(self._words[w], rows, cols, ~cleared.get(w, 0), bits)
            else:
                bits = np.zeros(shape, np.int32)
            mine = [i for i in scene.occluders if self._places[i] // WORD == w]
            self._look(surfaces, scene, mine, changed, bits, *at, rows, cols)
            found.append(bits)
        self._words = found
        wanted = (
            scene.occluders if among_these is None else among_these.intersection(scene.occluders)
        )
        free: Booleans | None = None
        for w, mask in self._masks(wanted).items():
            clear = np.empty(shape, bool)
            sight.are_clear(self._words[w], mask, clear)
            free = clear if free is None else free & clear
        return np.ones(shape, bool) if free is None else free

    def _masks(self, some: Iterable[int]) -> dict[int, int]:
        """Return the flags of some surfaces, word by word."""
        masks: dict[int, int] = {}
        for index in some:
            word, bit = divmod(self._places[index], WORD)
            masks[word] = masks.get(word, 0) | 1 << bit
        return masks

    def _arrange(
        self, surfaces: Sequence[Surface], changed: frozenset[int], starts: Integers, ends: Integers
    ) -> tuple[Integers, Integers]:
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
        self,
        surfaces: Sequence[Surface],
        scene: Packed,
        occluders: Sequence[int],
        changed: frozenset[int],
        bits: Integers,
        starts: Doubles,
        ends: Doubles,
        rows: Integers,
        cols: Integers,
    ) -> None:
        """Set the flags of what stands in the way."""
        flat = [i for i in occluders if scene.flat[i]]
        fresh_rows, fresh_cols = rows == NEW, np.flatnonzero(cols == NEW)
        if flat and bits.size:
            sight.cut_lines(
                starts,
                ends,
                np.array(flat),
                np.array([1 << self._places[i] % WORD for i in flat], np.int32),
                np.array([i in changed for i in flat]),
                *scene.plates,
                fresh_rows,
                fresh_cols,
                TOUCH_MM,
                bits,
            )
        if len(flat) < len(occluders):
            rest = [i for i in occluders if not scene.flat[i]]
            self._look_past_bodies(
                surfaces, rest, changed, bits, starts, ends, np.flatnonzero(fresh_rows), fresh_cols
            )

    def _look_past_bodies(
        self,
        surfaces: Sequence[Surface],
        bodies: Sequence[int],
        changed: frozenset[int],
        bits: Integers,
        starts: Doubles,
        ends: Doubles,
        fresh_rows: Integers,
        fresh_cols: Integers,
    ) -> None:
        """Set the flags of what is not flat."""
        for index in bodies:
            flag = np.int32(1 << self._places[index] % WORD)
            shape = surfaces[index].shape
            if index in changed or len(fresh_rows) == len(starts):
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


def occluders_of(surfaces: Sequence[Surface]) -> list[int]:
    """Return the surfaces that can stand between others: what bounds the scene cannot."""
    return list(Packed.of(surfaces).occluders)


def among(owners: Integers, surfaces: frozenset[int]) -> Booleans:
    """Return which owners are among some surfaces."""
    found = np.zeros(len(owners), bool)
    for index in surfaces:
        found |= owners == index
    return found


def free_lines(
    surfaces: Sequence[Surface], these: Iterable[int], starts: Floats, ends: Floats
) -> Booleans:
    """Return (n, m) which lines between n starts and m ends none of some things cuts."""
    scene, some = Packed.of(surfaces), sorted(these)
    begin, end = np.ascontiguousarray(starts, float), np.ascontiguousarray(ends, float)
    free = np.ones((len(starts), len(ends)), bool)
    flat = [i for i in some if scene.flat[i]]
    if flat and free.size:
        bits, ones = np.zeros(free.shape, np.int32), np.ones(len(flat), bool)
        sight.cut_lines(
            begin,
            end,
            np.array(flat),
            ones.astype(np.int32),
            ones,
            *scene.plates,
            np.ones(len(starts), bool),
            np.zeros(0, np.int64),
            TOUCH_MM,
            bits,
        )
        free = bits == 0
    for index in some:
        cut = None if scene.flat[index] else surfaces[index].shape.blocks(begin, end)
        if cut is not None:
            free &= ~cut
    return free


def may_be_cut(
    surfaces: Sequence[Surface], these: Iterable[int], starts: Floats, ends: Floats
) -> Booleans:
    """Return which starts (n,) have lines to some ends that bodies may cut.

    By balls round both, and posts round those bodies that stand upright.
    """
    found = np.zeros(len(starts), bool)
    middle = np.asarray(ends).mean(axis=0)
    reach = float(np.linalg.norm(ends - middle, axis=1).max())
    bodies = []
    for index in these:
        shape = surfaces[index].shape
        centre, radius = ball_round(shape)
        post = max(shape.foot_radius, shape.top_radius) if isinstance(shape, Cone) else np.inf
        bodies.append((*centre, radius, post))
    at = np.ascontiguousarray(starts, float)
    sight.may_cut(at, middle, reach, np.array(bodies, float).reshape(-1, 5), found)
    return found
