"""Truncated cones, and what a ray or a line of sight meets on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled
from lightplan.geometry import points as point_sets
from lightplan.geometry.curved import tiles, with_place
from lightplan.geometry.shapes import TOUCH_MM, Cells, Crossing, Samples

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Singles, Vector


@dataclass(frozen=True)
class Cone:
    """The side of a truncated upright cone, open at both ends; its front is the inside."""

    centre: Vector
    foot_radius: float
    top_radius: float
    height: float

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        return with_place(self, origins, directions, self._distance(origins, directions))

    def _distance(self, origins: Floats, directions: Floats) -> Singles:
        shape = np.broadcast_shapes(origins.shape, directions.shape)
        starts = np.broadcast_to(origins, shape)
        ways = directions if directions.shape == shape else np.broadcast_to(directions, shape)
        best = np.empty(ways.shape[:-1], np.float32)
        if ways.ndim < 3:
            starts, ways = starts[..., None, :], ways[..., None, :]
        each = best.reshape(ways.shape[:-1])
        if starts.strides[1] == 0:  # all rays of a row begin at one place
            starts = starts[:, :1]
        # a copy, for what is spread may not be written to, and the loop be compiled anew for that
        begin, along = np.array(starts, float, order="C"), np.ascontiguousarray(ways, np.float32)
        size = (float(self.foot_radius), float(self.top_radius), float(self.height))
        _first(begin, along, np.array(self.centre, float), *size, each)
        return best

    @property
    def _slope(self) -> float:
        return (self.top_radius - self.foot_radius) / self.height

    def blocks(self, starts: Floats, ends: Floats) -> Booleans | None:  # noqa: D102
        a, b = (
            np.ascontiguousarray(points - np.asarray(self.centre), float)
            for points in (starts, ends)
        )
        cut = np.zeros((len(a), len(b)), bool)
        found = _cuts(a, b, self.foot_radius, self.top_radius, self.height, cut)
        return cut if found else None

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
        cells = tiles(
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


@compiled
def _first(
    origins: Doubles,
    directions: Singles,
    centre: Doubles,
    foot: float,
    top: float,
    height: float,
    distance: Singles,
) -> None:
    """Write how far rays (n, k, 3) go to a cone, infinite where they miss it.

    Those of a row have an origin each, (n, k, 3), or one for all, (n, 1, 3).
    They cross the endless cone x2 + y2 = (foot + slope z)2 at two places, the roots of a
    quadratic; in single precision, as rays are kept.
    """
    slope, low, high = np.float32((top - foot) / height), np.float32(foot), np.float32(height)
    touch = np.float32(TOUCH_MM)
    last = origins.shape[1] - 1
    for i in range(directions.shape[0]):
        for j in range(directions.shape[1]):
            x = np.float32(origins[i, min(j, last), 0] - centre[0])
            y = np.float32(origins[i, min(j, last), 1] - centre[1])
            z = np.float32(origins[i, min(j, last), 2] - centre[2])
            dx, dy, dz = directions[i, j, 0], directions[i, j, 1], directions[i, j, 2]
            distance[i, j] = np.inf
            rim = low + slope * z
            steep = slope * dz
            a = dx * dx + dy * dy - steep * steep
            b = x * dx + y * dy - rim * slope * dz
            inside = b * b - a * (x * x + y * y - rim * rim)
            if not inside >= 0:
                continue
            root = np.sqrt(inside)
            q = -(b + root) if b >= 0 else root - b
            for length in (q / a, (x * x + y * y - rim * rim) / q):
                level = z + length * dz
                within = 0 <= level <= high and low + slope * level >= 0
                if within and touch < length < distance[i, j]:
                    distance[i, j] = length


@compiled
def _cuts(
    starts: Doubles, ends: Doubles, foot: float, top: float, height: float, cut: Booleans
) -> bool:
    """Set cut (n, m) for lines that cross a cone before their end, and say if there are any.

    Starts and ends (n, 3), (m, 3) count from the middle of its foot. A crossing nearer than
    half a millimetre to an end is where the line begins or ends.
    """
    some = False
    slope, radius = (top - foot) / height, max(foot, top)
    for i in range(starts.shape[0]):
        x, y, z = starts[i, 0], starts[i, 1], starts[i, 2]
        rim = foot + slope * z
        c = x * x + y * y - rim * rim
        for j in range(ends.shape[0]):
            dx, dy, dz = ends[j, 0] - x, ends[j, 1] - y, ends[j, 2] - z
            if (z < 0 and z + dz < 0) or (z > height and z + dz > height):
                continue
            across = dx * dx + dy * dy
            side = x * dy - y * dx  # the line's distance from the axis, times its length across
            if side * side > radius * radius * across:
                continue
            a = across - slope * slope * dz * dz
            b = x * dx + y * dy - rim * slope * dz
            inside = b * b - a * c
            if inside < 0:
                continue
            root = math.sqrt(inside)
            q = -(b + root) if b >= 0 else root - b
            margin = 0.5 / max(math.sqrt(across + dz * dz), 1.0)
            for share in (q / a, c / q):
                level = z + share * dz
                if (
                    margin < share < 1 - margin
                    and 0 <= level <= height
                    and foot + slope * level >= 0
                ):
                    cut[i, j] = some = True
    return some
