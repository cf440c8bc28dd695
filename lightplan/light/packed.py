"""The scene as arrays: what stands between surfaces and compiled loops."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.shapes import Flat
from lightplan.light.remembered import Remembered

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.scene.surfaces import Surface

_packed: Remembered[Packed] = Remembered(16)


@dataclass(frozen=True, eq=False)
class Packed:
    """s surfaces; those that are not flat have rows of zeros.

    Attributes
    ----------
    flat : (s,) bool
    centres : (s, 3) float
        mm.
    frames : (s, 3, 3) float
        Columns right, up, normal.
    halves : (s, 2) float
        Half widths and heights, mm.
    rounds : (s,) bool
        Whether each is the ellipse in its rectangle.
    holes : (h, 3) float
        Openings: x and y from the middle, radius, mm; those of surface i are the rows from
        `first_hole[i]` to `first_hole[i + 1]`.
    lines : (l,) float32
        Where cells end, -1 to 1; those across surface i from `first_line[i, 0]` to
        `first_line[i, 1]`, those up to `first_line[i, 2]`; none where cells are even.
    occluders : tuple of int
        Surfaces that can stand between others.
    """

    flat: Booleans
    centres: Doubles
    frames: Doubles
    halves: Doubles
    rounds: Booleans
    holes: Doubles
    first_hole: Integers
    lines: Singles
    first_line: Integers
    occluders: tuple[int, ...]

    @classmethod
    def of(cls, surfaces: Sequence[Surface]) -> Packed:
        """Return the scene as arrays, the same ones for the same tuple of surfaces."""
        if not isinstance(surfaces, tuple):  # it may be altered
            return cls._made(surfaces)
        return _packed.of((surfaces,), lambda: cls._made(surfaces))

    @property
    def plates(self) -> tuple[Doubles, Doubles, Doubles, Booleans, Doubles, Integers]:
        """Centres, frames, halves, rounds and holes, in the order the compiled loops take them."""
        return (self.centres, self.frames, self.halves, self.rounds, self.holes, self.first_hole)

    @classmethod
    def _made(cls, surfaces: Sequence[Surface]) -> Packed:
        count = len(surfaces)
        centres, frames, halves = (
            np.zeros((count, 3)),
            np.zeros((count, 3, 3)),
            np.zeros((count, 2)),
        )
        flat, rounds = np.zeros(count, bool), np.zeros(count, bool)
        holes: list[tuple[float, float, float]] = []
        lines: list[float] = []
        first_hole, first_line = np.zeros(count + 1, np.int64), np.zeros((count, 3), np.int64)
        for index, surface in enumerate(surfaces):
            shape = surface.shape
            first_line[index] = len(lines)
            if isinstance(shape, Flat):
                flat[index], rounds[index] = True, shape.is_round
                centres[index], frames[index] = shape.centre, shape.frame
                halves[index] = shape.half_width, shape.half_height
                holes += shape.openings
                for place, some in enumerate(shape.lines or (), start=1):
                    lines += some
                    first_line[index, place] = len(lines)
            first_hole[index + 1] = len(holes)
        return cls(
            flat,
            centres,
            frames,
            halves,
            rounds,
            np.array(holes, float).reshape(-1, 3),
            first_hole,
            np.array(lines, np.float32),
            first_line,
            tuple(_occluders(surfaces)),
        )


def _occluders(surfaces: Sequence[Surface]) -> list[int]:
    has_floor = any(s.role == "room" for s in surfaces)
    bounds = ("sheet", "room") if has_floor else ("sheet", "room", "table")
    return [i for i, s in enumerate(surfaces) if s.role not in bounds]
