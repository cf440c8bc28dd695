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
    from lightplan.arrays import Booleans, Doubles, Floats, Integers, Singles, Vector

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


@dataclass(frozen=True)
class Ball:
    """A sphere; its front is the outside."""

    centre: Vector
    radius: float

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        return _with_place(self, origins, directions, self._distance(origins, directions))

    def _distance(self, origins: Floats, directions: Floats) -> Singles:
        offset = np.asarray(self.centre, np.float32) - origins
        along = np.sum(offset * directions, axis=-1)
        miss = np.sum(offset * offset, axis=-1) - along**2
        inside = self.radius**2 - miss
        with np.errstate(invalid="ignore"):
            length = along - np.sqrt(inside)
        hit = (inside > 0) & (length > TOUCH_MM)
        return np.where(hit, length, np.float32(np.inf)).astype(np.float32)

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:  # noqa: D102
        a = (starts - np.asarray(self.centre)).astype(np.float32)
        b = (ends - np.asarray(self.centre)).astype(np.float32)
        step = b[None] - a[:, None]
        length2 = np.sum(step * step, axis=-1)
        share = np.clip(-np.einsum("ic,ijc->ij", a, step) / np.maximum(length2, 1e-9), 0, 1)
        nearest = a[:, None] + share[..., None] * step
        outside = (np.linalg.norm(a, axis=1) > self.radius * 1.001)[:, None]
        outside = outside & (np.linalg.norm(b, axis=1) > self.radius * 1.001)[None]
        cut: Booleans = outside & (np.sum(nearest * nearest, axis=-1) < self.radius**2)
        return cut if cut.any() else None

    def normals_at(self, points: Floats) -> Floats:  # noqa: D102
        return (points - np.asarray(self.centre, np.float32)) / np.float32(self.radius)

    def surface_coordinates(self, points: Floats) -> tuple[Floats, Floats]:  # noqa: D102
        direction = self.normals_at(points)
        across = np.arctan2(direction[..., 1], direction[..., 0]) / (2 * np.pi) + 0.5
        return across, 0.5 * np.clip(direction[..., 2], -1, 1) + 0.5  # rings of equal area

    def grid(self, rows: int, cols: int) -> Cells:  # noqa: D102
        height = 1 - 2 * (np.arange(rows + 1)) / rows
        angle = 2 * np.pi * np.arange(cols + 1) / cols - np.pi
        return _tiles(
            lambda r, c: self._at(height[0] + (height[-1] - height[0]) * r / rows, angle, c),
            rows,
            cols,
            4 * math.pi * self.radius**2 / (rows * cols),
            self.centre,
            outward=True,
        )

    def _at(self, z: Doubles, angle: Doubles, column: Doubles) -> Doubles:
        phi = angle[0] + 2 * np.pi * column / (len(angle) - 1)
        ring = np.sqrt(np.maximum(0.0, 1 - z * z))
        unit = np.stack([ring * np.cos(phi), ring * np.sin(phi), z], axis=-1)
        return np.asarray(self.centre) + self.radius * unit

    def sample(self, count: int) -> Samples:  # noqa: D102
        u, v = point_sets.unit_square(count).T
        z, phi = 1 - 2 * u, 2 * np.pi * v
        ring = np.sqrt(np.maximum(0.0, 1 - z * z))
        normals = np.stack([ring * np.cos(phi), ring * np.sin(phi), z], axis=1)
        areas = np.full(count, 4 * math.pi * self.radius**2 / count)
        return Samples(np.asarray(self.centre) + self.radius * normals, normals, areas)


@dataclass(frozen=True)
class Cone:
    """The side of a truncated upright cone, open at both ends; its front is the inside."""

    centre: Vector
    foot_radius: float
    top_radius: float
    height: float

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        return _with_place(self, origins, directions, self._distance(origins, directions))

    def _distance(self, origins: Floats, directions: Floats) -> Singles:
        origin = (origins - np.asarray(self.centre)).astype(np.float32)
        direction = directions.astype(np.float32)
        near, far = self._roots(origin, direction)
        best = np.full(np.broadcast_shapes(near.shape), np.float32(np.inf))
        for length in (far, near):
            with np.errstate(invalid="ignore"):
                z = origin[..., 2] + length * direction[..., 2]
                good = (length > TOUCH_MM) & (z >= 0) & (z <= self.height)
                good &= self.foot_radius + self._slope * z >= 0
            best = np.where(good, length, best)
        return best.astype(np.float32)

    @property
    def _slope(self) -> float:
        return (self.top_radius - self.foot_radius) / self.height

    def _roots(self, origin: Floats, direction: Floats) -> tuple[Floats, Floats]:
        """Both crossings with the endless cone x2 + y2 = (foot + slope z)2, in order."""
        slope = self._slope
        rim = self.foot_radius + slope * origin[..., 2]
        a = direction[..., 0] ** 2 + direction[..., 1] ** 2 - (slope * direction[..., 2]) ** 2
        b = origin[..., 0] * direction[..., 0] + origin[..., 1] * direction[..., 1]
        b = b - rim * slope * direction[..., 2]
        c = origin[..., 0] ** 2 + origin[..., 1] ** 2 - rim**2
        with np.errstate(divide="ignore", invalid="ignore"):
            root = np.sqrt(b * b - a * c)
            q = -(b + np.where(b >= 0, root, -root))
            first, second = q / a, c / q
        return np.minimum(first, second), np.maximum(first, second)

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:  # noqa: D102
        a = (starts - np.asarray(self.centre)).astype(np.float32)
        b = (ends - np.asarray(self.centre)).astype(np.float32)
        apart = self._beyond(a)[:, None] & self._beyond(b)[None]
        if 2 * np.count_nonzero(apart) < apart.size:
            step = b[None] - a[:, None]
            cut = self._cuts(np.broadcast_to(a[:, None], step.shape), step)
        else:
            row, col = np.nonzero(apart == 0)
            cut = np.zeros(apart.shape, bool)
            cut[row, col] = self._cuts(a[row], b[col] - a[row])
        return cut if cut.any() else None

    def _beyond(self, points: Singles) -> Integers:
        """Return bits for the sides of a prism round the cone that points (n, 3) lie beyond."""
        turn = 2 * np.pi * np.arange(14) / 14
        radius = max(self.foot_radius, self.top_radius)
        out = points[:, :2] @ np.stack([np.cos(turn), np.sin(turn)]).astype(np.float32) > radius
        level = np.stack([points[:, 2] < 0, points[:, 2] > self.height], axis=1)
        bits = np.packbits(np.concatenate([out, level], axis=1), axis=1)
        return bits.view(np.uint16)[:, 0]

    def _cuts(self, origin: Floats, step: Singles) -> Booleans:
        """Lines (..., 3) that cross the cone before their end."""
        length = np.linalg.norm(step, axis=-1)
        margin = np.float32(0.5) / np.maximum(length, 1.0)
        cut = np.zeros(length.shape, bool)
        for share in self._roots(origin, step):
            with np.errstate(invalid="ignore"):
                z = origin[..., 2] + share * step[..., 2]
                inside = (share > margin) & (share < 1 - margin) & (z >= 0) & (z <= self.height)
                cut |= inside & (self.foot_radius + self._slope * z >= 0)
        return cut

    def normals_at(self, points: Floats) -> Floats:  # noqa: D102
        offset = points - np.asarray(self.centre, np.float32)
        ring = np.maximum(np.hypot(offset[..., 0], offset[..., 1]), 1e-6)
        tilt = math.hypot(1.0, self._slope)
        return np.stack(
            [
                -offset[..., 0] / (ring * tilt),
                -offset[..., 1] / (ring * tilt),
                np.broadcast_to(np.float32(self._slope / tilt), ring.shape),
            ],
            axis=-1,
        )

    def surface_coordinates(self, points: Floats) -> tuple[Floats, Floats]:  # noqa: D102
        offset = points - np.asarray(self.centre, np.float32)
        across = np.arctan2(offset[..., 1], offset[..., 0]) / (2 * np.pi) + 0.5
        return across, offset[..., 2] / self.height

    def grid(self, rows: int, cols: int) -> Cells:  # noqa: D102
        slant = math.hypot(self.height, self.top_radius - self.foot_radius)
        cells = _tiles(
            lambda r, c: self._at(self.height * (1 - r / rows), 2 * np.pi * c / cols - np.pi),
            rows,
            cols,
            1.0,
            self.centre,
            outward=False,
        )
        middle = self.height * (1 - (np.arange(rows) + 0.5) / rows)
        ring = self.foot_radius + self._slope * middle
        areas = np.repeat(2 * math.pi * ring * slant / (rows * cols), cols)
        row, col = (v.ravel() for v in np.mgrid[0:rows, 0:cols] + 0.5)
        centres = self._at(self.height * (1 - row / rows), 2 * np.pi * col / cols - np.pi)
        return Cells(centres, np.asarray(self.normals_at(centres), float), areas, cells.corners)

    def _at(self, z: Doubles, phi: Doubles) -> Doubles:
        ring = self.foot_radius + self._slope * z
        unit = np.stack([ring * np.cos(phi), ring * np.sin(phi), z], axis=-1)
        return np.asarray(self.centre) + unit

    def sample(self, count: int) -> Samples:  # noqa: D102
        u, v = point_sets.unit_square(count).T
        z, phi = self.height * u, 2 * np.pi * v - np.pi
        slant = math.hypot(self.height, self.top_radius - self.foot_radius)
        spots = self._at(z, phi)
        areas = 2 * math.pi * (self.foot_radius + self._slope * z) * slant / count
        return Samples(spots, np.asarray(self.normals_at(spots), float), areas)


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


def _with_place(
    shape: Ball | Cone, origins: Floats, directions: Floats, distance: Singles
) -> Crossing:
    """Add where on a curved shape its rays arrive."""
    across = np.zeros(distance.shape, np.float32)
    up = np.zeros(distance.shape, np.float32)
    from_front = np.zeros(distance.shape, bool)
    hit = np.nonzero(np.isfinite(distance))
    if hit[0].size:
        start = np.broadcast_to(origins, directions.shape)[hit]
        away = directions[hit]
        points = start + distance[hit][:, None] * away
        across[hit], up[hit] = shape.surface_coordinates(points)
        from_front[hit] = np.sum(away * shape.normals_at(points), axis=-1) < 0
    return Crossing(distance, across, up, from_front)


def _tiles(
    at: object, rows: int, cols: int, area: float, centre: Vector, *, outward: bool
) -> Cells:
    """Tile a curved shape given by a function of (row, column) edges."""
    row, col = (v.ravel().astype(float) for v in np.mgrid[0:rows, 0:cols])
    corners = np.stack(
        [at(row + dr, col + dc) for dr, dc in ((1, 0), (1, 1), (0, 1), (0, 0))],  # type: ignore[operator]
        axis=1,
    )
    centres = at(row + 0.5, col + 0.5)  # type: ignore[operator]
    normals = centres - np.asarray(centre)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals = normals if outward else -normals
    return Cells(centres, normals, np.full(len(centres), area), corners)
