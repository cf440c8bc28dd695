"""Gauss points on lamps and lit cards, for mirrors to look at."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache, partial
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat, Samples
from lightplan.light.remembered import Remembered

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles, Floats, Integers, Singles
    from lightplan.light.cells import Patchwork
    from lightplan.scene.surfaces import Surface

ROLES = ("lamp", "window", "card", "diffuser")


@dataclass(frozen=True, eq=False)
class Target:
    """m points of one bright face.

    Parameters
    ----------
    key : (int, bool)
        Surface, and whether it is the front.
    points, normals : (m, 3) float
    areas : (m,) float
        What each point stands for, mm2.
    spacing_mm : float
        Widest gap between neighbours; infinite where its light is not smooth (a card with
        a hole), so that it is left to rays.
    texel, share : (m, 4) int and float32
        What each point shows: texels and their weights.
    """

    key: tuple[int, bool]
    points: Doubles
    normals: Doubles
    areas: Doubles
    spacing_mm: float
    texel: Integers
    share: Singles

    @property
    def surface(self) -> int:
        """Surface it lies on."""
        return self.key[0]

    def faces_away(self, points: Floats) -> bool:
        """Whether it is flat and none of the points lies before it."""
        normal = self.normals[0]
        if not np.array_equal(normal, self.normals[-1]):
            return False
        return bool(((points - self.points[0]) @ normal <= 0).all())


def scattered(target: Target, surfaces: Sequence[Surface], count: int) -> Target:
    """Return the same target with many evenly scattered points, to follow a shadow's edge.

    They tell what is hidden; what they would show is left out.
    """
    spots = surfaces[target.surface].shape.sample(count)
    normals = spots.normals if target.key[1] else -spots.normals
    return replace(target, points=spots.points, normals=normals, areas=spots.areas)


_targets: Remembered[Target] = Remembered(64)


def targets_of(
    surfaces: Sequence[Surface],
    patchwork: Patchwork,
    count: int,
    wanted: frozenset[int],
    times: Mapping[int, int] = MappingProxyType({}),
) -> list[Target]:
    """Return the targets among the wanted surfaces, about `count` points on each.

    So many times as many on some.
    """
    bright = {(f.surface, f.is_front) for f in patchwork.faces}
    bright |= {(i, True) for i, s in enumerate(surfaces) if s.lamp is not None}
    found = []
    for index, is_front in sorted(bright):
        surface = surfaces[index]
        if index not in wanted or surface.role not in ROLES:
            continue
        points = count * times.get(index, 1)
        found.append(
            _targets.of(
                (surface, patchwork),
                partial(_spotted, surfaces, patchwork, index, points, is_front=is_front),
                index,
                points,
                is_front,
            )
        )
    return found


def _spotted(
    surfaces: Sequence[Surface], patchwork: Patchwork, index: int, count: int, *, is_front: bool
) -> Target:
    shape = surfaces[index].shape
    assert isinstance(shape, Flat | Ball)  # shells and props are no targets
    spots, spacing = gauss_points(shape, count)
    return _target(surfaces, patchwork, index, spots, spacing, is_front=is_front)


def _target(
    surfaces: Sequence[Surface],
    patchwork: Patchwork,
    index: int,
    spots: Samples,
    spacing: float,
    *,
    is_front: bool,
) -> Target:
    across, up = surfaces[index].shape.surface_coordinates(spots.points)
    shown = patchwork.texels_around(surfaces[index], index, across, up, is_front=is_front)
    normals = spots.normals if is_front else -spots.normals
    return Target((index, is_front), spots.points, normals, spots.areas, spacing, *shown)


def gauss_points(shape: Flat | Ball, count: int) -> tuple[Samples, float]:
    """Return about `count` points spread over a shape, and the widest gap between them in mm."""
    if isinstance(shape, Ball):
        return shape.sample(2 * count), shape.radius * (4 * np.pi / (2 * count)) ** 0.5
    spread = _on_disk if shape.is_round else _on_rectangle
    places, areas, spacing = spread(shape.half_width, shape.half_height, count)
    points = np.asarray(shape.centre) + places @ np.array([shape.right, shape.up])
    samples = Samples(points, np.broadcast_to(shape.normal, points.shape), areas)
    return samples, np.inf if shape.openings else spacing


@lru_cache(maxsize=256)
def _on_rectangle(
    half_width: float, half_height: float, count: int
) -> tuple[Doubles, Doubles, float]:
    """Places (m, 2) from the middle, what each stands for, and the widest gap."""
    ratio = half_width / half_height
    across = int(np.clip(round((count * ratio) ** 0.5), 3, count // 3))
    upward = max(3, round(count / across))
    x, wx = _gauss(across)
    y, wy = _gauss(upward)
    at_x, at_y = (v.ravel() for v in np.meshgrid(x * half_width, y * half_height))
    areas = np.outer(wy, wx).ravel() * half_width * half_height
    spacing = 2 * max(half_width / across, half_height / upward)
    return np.stack([at_x, at_y], axis=1), areas, spacing


@lru_cache(maxsize=256)
def _on_disk(half_width: float, half_height: float, count: int) -> tuple[Doubles, Doubles, float]:
    """Places, what each stands for, and the widest gap, for the ellipse in a rectangle."""
    rings = max(2, round((count / 4) ** 0.5))
    around = max(6, round(count / rings))
    u, weight = _gauss(rings)
    radius = np.sqrt((u + 1) / 2)  # even in area
    angle = 2 * np.pi * (np.arange(around) + 0.5) / around
    at_x = np.outer(radius, np.cos(angle)).ravel() * half_width
    at_y = np.outer(radius, np.sin(angle)).ravel() * half_height
    areas = np.repeat(weight / 2 / around, around) * (np.pi * half_width * half_height)
    spacing = max(half_width, half_height) * max(1 / rings, np.pi / around)
    return np.stack([at_x, at_y], axis=1), areas, spacing


@lru_cache(maxsize=64)
def _gauss(count: int) -> tuple[Doubles, Doubles]:
    """Gauss-Legendre points and weights on -1..1."""
    points, weights = np.polynomial.legendre.leggauss(count)
    return points, weights
