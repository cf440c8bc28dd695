"""Balls, and what a ray or a line of sight meets on them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry import points as point_sets
from lightplan.geometry.curved import tiles, with_place
from lightplan.geometry.shapes import TOUCH_MM, Cells, Crossing, Samples

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Singles, Vector


@dataclass(frozen=True)
class Ball:
    """A sphere; its front is the outside."""

    centre: Vector
    radius: float

    def trace(self, origins: Floats, directions: Floats) -> Crossing:  # noqa: D102
        return with_place(self, origins, directions, self._distance(origins, directions))

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
        return tiles(
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
