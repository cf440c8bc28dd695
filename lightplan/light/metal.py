"""Reflection at metal coatings (silvered cards) that a ray meets on its way."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightplan.arrays import Doubles, Floats, Integers, Singles
from lightplan.geometry import points as point_sets
from lightplan.optics import microfacet
from lightplan.scene.surfaces import Surface


def reflect_from_metal(
    surfaces: Sequence[Surface], hit: Integers, spots: Floats, directions: Doubles,
    square: Doubles,
) -> tuple[Doubles, Singles]:  # fmt: skip
    """Return where rays go on after a metal coating, and how much light they keep.

    Parameters
    ----------
    hit : (n,) int
        Surface of each ray's hit.
    spots, directions : (n, 3) float
        Where and how each ray arrives.
    square : (n, 2) float
        Points of the unit square that choose the facets.

    Returns
    -------
    directions : (n, 3) float
    weights : (n, 3) float32
    """
    onward, weight = np.zeros_like(directions), np.zeros(directions.shape, np.float32)
    for index in np.unique(hit):
        mine = np.flatnonzero(hit == index)
        surface = surfaces[index]
        normals = np.asarray(surface.shape.normals_at(spots[mine]), float)
        front = np.sum(directions[mine] * normals, axis=1) < 0
        for is_front in (True, False):
            part = mine[front == is_front]
            face = surface.front if is_front else surface.back
            if part.size and face.is_metal:
                facing = normals[front == is_front] * (1.0 if is_front else -1.0)
                bounce, kept = sample_mirror(
                    -directions[part], facing, face.roughness, square[part]
                )
                onward[part] = bounce
                weight[part] = kept[:, None] * np.asarray(face.metal, np.float32)
    return onward, weight


def sample_mirror(
    views: Doubles, normals: Doubles, roughness: float, square: Doubles
) -> tuple[Doubles, Doubles]:
    """Return one reflected direction per view off a rough mirror, and its masking weight."""
    tangent, other = point_sets.frames(normals)
    local = np.stack([np.sum(views * axis, axis=1) for axis in (tangent, other, normals)], axis=1)
    half = microfacet.sample_visible_normals(local, roughness, roughness, square)
    onward = 2 * np.sum(local * half, axis=1, keepdims=True) * half - local
    weight = microfacet.g1(onward[:, 0], onward[:, 1], onward[:, 2], roughness, roughness)
    world = onward[:, :1] * tangent + onward[:, 1:2] * other + onward[:, 2:] * normals
    return world, np.where(onward[:, 2] > 0, weight, 0.0)
