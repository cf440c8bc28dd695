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
