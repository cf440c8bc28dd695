"""The shapes a rig is made of, and what a ray or a line of sight meets on them.

Every shape answers the same questions:

``trace(origins, directions)``     how far along each ray it is met, where, on which side
``blocks(starts, ends)``           which straight lines between two point sets it cuts
``grid(rows, cols)``               cells that tile it (centres, normals, areas, corners)
``surface_coordinates(points)``    (across, up) in 0..1, to look values up in those cells
``sample(count)``                  points on it with the normal and the area each stands for
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, NamedTuple, Protocol, TypeAlias

import numpy as np

from lightplan.geometry import points as point_sets

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Singles, Vector

TOUCH_MM = 0.02  # nearer than this counts as lying on the surface


class Cells(NamedTuple):
    """Tiles of a shape: n = rows * cols, row by row from the top.

    centres (n, 3) mm; normals (n, 3); areas (n,) mm2 of what is really there; corners
    (n, 4, 3) mm.
    """

    centres: Doubles
    normals: Doubles
    areas: Doubles
    corners: Doubles


class Samples(NamedTuple):
    """Points (n, 3), normals (n, 3) and the area in mm2 that each stands for (n,)."""

    points: Doubles
    normals: Doubles
    areas: Doubles


class Crossing(NamedTuple):
    """Where rays meet a shape, (n, k) each.

    distance [mm], inf where missed; across and up in 0..1 (anything where missed); whether
    the ray comes from the front.
    """

    distance: Singles
    across: Floats
    up: Floats
    from_front: Booleans


class Shape(Protocol):
    """What every shape can be asked."""

    def trace(self, origins: Floats, directions: Floats) -> Crossing:
        """Meet rays: origins (n, 1, 3) or (n, k, 3), unit directions (n, k, 3)."""

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:
        """Return (n, m) whether the line from start n to end m is cut; None: never."""

    def normals_at(self, points: Floats) -> Floats:
        """Return outward (front) normals at points of the surface, (n, 3)."""

    def surface_coordinates(self, points: Floats) -> tuple[Floats, Floats]:
        """Return (across, up) of points of the surface, each 0..1."""

    def grid(self, rows: int, cols: int) -> Cells:
        """Tile the front."""

    def sample(self, count: int) -> Samples:
        """Spread points over the front."""


class Opening(NamedTuple):
    """A round opening in a flat shape, centre (x, y) from its middle and radius, mm."""

    x: float
    y: float
    radius: float


@dataclass(frozen=True)
class Flat:
    """A rectangle or, with `is_round`, the ellipse in it; may have openings.

    Parameters
    ----------
    centre, right, up : (3,) float
        Middle [mm] and unit axes; the front normal is right x up.
    half_width, half_height : float
        mm.
    lines : ((...), (...)) float or None
        Where cells end, x rising and y rising, as shares -1..1 of half the size; None for
        even cells.
    """

    centre: Vector
    right: Vector
    up: Vector
    half_width: float
    half_height: float
    is_round: bool = False
    openings: tuple[Opening, ...] = ()
    lines: tuple[tuple[float, ...], tuple[float, ...]] | None = None

    @cached_property
    def normal(self) -> Doubles:
        """Unit normal of the front."""
        (a, b, c), (x, y, z) = self.right, self.up
        return np.array([b * z - c * y, c * x - a * z, a * y - b * x])

    @cached_property
    def frame(self) -> Doubles:
        """Columns right, up, normal, (3, 3)."""
        return np.stack([self.right, self.up, self.normal], axis=1)

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        shape = directions.shape[:-1]
        frame = self.frame.astype(np.float32)
        step = (frame.T @ directions.reshape(-1, 3).T).reshape(3, *shape)
        start = (origins - np.asarray(self.centre, np.float32)) @ frame
        with np.errstate(divide="ignore", invalid="ignore"):
            length = -start[..., 2] / step[2]
            x = length * step[0]
            x += start[..., 0]
            y = length * step[1]
            y += start[..., 1]
            hit = self.contains(x, y)
            hit &= length > TOUCH_MM
        distance = np.where(hit, length, np.float32(np.inf))
        return Crossing(distance, *self._unit(x, y), step[2] < 0)

    def _unit(self, x: Floats, y: Floats) -> tuple[Floats, Floats]:
        """Coordinates 0..1 for places in the shape's own axes."""
        across, up = x / np.float32(self.half_width), y / np.float32(self.half_height)
        if self.lines is not None:
            across, up = _even(across, self.lines[0]), _even(up, self.lines[1])
        return across * np.float32(0.5) + np.float32(0.5), up * np.float32(0.5) + np.float32(0.5)

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:  # noqa: D102
        return self.cuts(self._local(starts), self._local(ends))

    def _local(self, points: Floats) -> Doubles:
        """Points in the shape's own axes, (3, n)."""
        return np.asarray(self.frame.T @ (points - np.asarray(self.centre)).T)

    def cuts(self, a: Doubles, b: Doubles) -> Booleans | None:
        """Return what `blocks` does, for points (3, n) and (3, m) in the shape's own axes."""
        blocked: Booleans | None = None
        for side in (1.0, -1.0):
            before = (side * a[2] > TOUCH_MM).nonzero()[0]
            behind = (side * b[2] < -TOUCH_MM).nonzero()[0]
            if not (before.size and behind.size):
                continue
            # `take` keeps the coordinates apart, which plain indexing would not
            cut = self._cut(a.take(before, 1), b.take(behind, 1))
            if cut.any():
                if blocked is None:
                    blocked = np.zeros((a.shape[1], b.shape[1]), bool)
                blocked[before[:, None], behind] = cut
        return blocked

    def _cut(self, a: Doubles, b: Doubles) -> Booleans:
        """Lines between points on opposite sides, in the shape's own axes."""
        start, end = a.astype(np.float32)[:, :, None], b.astype(np.float32)[:, None]
        share = start[2] / (start[2] - end[2])
        x = share * (end[0] - start[0])
        x += start[0]
        y = share * (end[1] - start[1])
        y += start[1]
        return self.contains(x, y)

    def contains(self, x: Floats, y: Floats) -> Booleans:
        """Return which places, in mm from the middle along its axes, lie on it."""
        if self.is_round:
            inside: Booleans = (x / self.half_width) ** 2 + (y / self.half_height) ** 2 <= 1.0
        else:
            inside = (np.abs(x) <= self.half_width) & (np.abs(y) <= self.half_height)
        for hole in self.openings:
            inside &= (x - hole.x) ** 2 + (y - hole.y) ** 2 > hole.radius**2
        return inside

    def normals_at(self, points: Floats) -> Floats:  # noqa: D102
        return np.broadcast_to(self.normal.astype(np.float32), points.shape)

    def surface_coordinates(self, points: Floats) -> tuple[Floats, Floats]:  # noqa: D102
        place = (points - np.asarray(self.centre)) @ self.frame
        return self._unit(place[..., 0], place[..., 1])

    def edges(self, rows: int, cols: int) -> tuple[Doubles, Doubles]:
        """Return where cells end: x (cols + 1,) rising, y (rows + 1,) falling, mm."""
        x, y = _unit_edges(rows, cols, self.lines)
        return self.half_width * x, self.half_height * y

    def grid(self, rows: int, cols: int) -> Cells:  # noqa: D102
        tiles, areas = _unit_tiles(rows, cols, self.lines)
        axes = np.array([self.right, self.up]) * [[self.half_width], [self.half_height]]
        spots = np.asarray(self.centre) + (tiles.reshape(-1, 2) @ axes).reshape(-1, 5, 3)
        areas = areas * (self.half_width * self.half_height)
        if self.is_round or self.openings:
            areas *= self._shares(rows, cols)
        centres = spots[:, 4]
        return Cells(centres, np.broadcast_to(self.normal, centres.shape), areas, spots[:, :4])

    def _shares(self, rows: int, cols: int, fine: int = 12) -> Doubles:
        """Share of each cell that is really there (round rim, openings)."""
        x = ((np.arange(cols * fine) + 0.5) / (cols * fine) - 0.5) * 2 * self.half_width
        y = (0.5 - (np.arange(rows * fine) + 0.5) / (rows * fine)) * 2 * self.half_height
        inside = self.contains(x[None, :], y[:, None]).astype(float)
        return np.asarray(inside.reshape(rows, fine, cols, fine).mean(axis=(1, 3)).ravel())

    def sample(self, count: int) -> Samples:  # noqa: D102
        if self.is_round:
            x, y = point_sets.unit_disk(count).T
            area = math.pi * self.half_width * self.half_height
        else:
            x, y = 2 * point_sets.unit_square(count).T - 1
            area = 4 * self.half_width * self.half_height
        x, y = x * self.half_width, y * self.half_height
        keep = self.contains(x * 0.999999, y * 0.999999)
        spots = self._world(x[keep], y[keep])
        areas = np.full(len(spots), area / count)
        return Samples(spots, np.broadcast_to(self.normal, spots.shape), areas)

    def outline(self, sides: int = 48) -> Doubles:
        """Return the rim as a polygon (n, 3), counter-clockwise seen from the front.

        A round shape becomes a regular polygon of the same area.
        """
        if not self.is_round:
            x = np.array([-1, 1, 1, -1]) * self.half_width
            return self._world(x, np.array([-1, -1, 1, 1]) * self.half_height)
        angle = 2 * np.pi * (np.arange(sides) + 0.5) / sides
        grow = math.sqrt(math.pi / (sides / 2 * math.sin(2 * math.pi / sides)))
        x, y = grow * self.half_width * np.cos(angle), grow * self.half_height * np.sin(angle)
        return self._world(x, y)

    def _world(self, x: Doubles, y: Doubles) -> Doubles:
        across = np.multiply.outer(x, np.asarray(self.right))
        return np.asarray(np.asarray(self.centre) + across + np.multiply.outer(y, self.up))


_Lines: TypeAlias = tuple[tuple[float, ...], tuple[float, ...]] | None


def _unit_edges(rows: int, cols: int, lines: _Lines) -> tuple[Doubles, Doubles]:
    """Where cells of a flat shape end, over half its size: x rising, y falling."""
    if lines is None:
        return np.linspace(-1, 1, cols + 1), np.linspace(1, -1, rows + 1)
    return np.array(lines[0]), np.array(lines[1])[::-1]


@lru_cache(maxsize=256)
def _unit_tiles(rows: int, cols: int, lines: _Lines) -> tuple[Doubles, Doubles]:
    """Corners and middle (n, 5, 2) of cells over half their shape's size, and their areas."""
    x, y = _unit_edges(rows, cols, lines)
    column, row = (v.ravel() for v in np.meshgrid(np.arange(cols), np.arange(rows)))
    at = [(x[column + dx], y[row + dy]) for dx, dy in ((0, 1), (1, 1), (1, 0), (0, 0))]
    corners = np.stack([np.stack(place, axis=1) for place in at], axis=1)
    tiles = np.concatenate([corners, corners.mean(axis=1, keepdims=True)], axis=1)
    return tiles, np.outer(-np.diff(y), np.diff(x)).ravel()


def _even(place: Floats, lines: tuple[float, ...]) -> Floats:
    """Coordinates -1..1 in which cells of uneven size are even."""
    return np.interp(place, lines, np.linspace(-1, 1, len(lines))).astype(np.float32)
