"""Lamps that stand so low over rough mirrors that few points do not stand for them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat
from lightplan.light.targets import gauss_points

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.light.emission import LampFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.scene.surfaces import Surface

HORIZON_SPOTS = 21  # on a lamp, to find whether it stands that low over a mirror
LOW = 0.5  # how low: its lowest point over its highest
LOW_TIMES = 4  # as many points on a lamp that low, and as many again where these are sparse
SPARSE = 0.5  # gap between them over the width of the lobe


def more_on(
    mirrors: Mirrors, spots: int, surfaces: Sequence[Surface], lamps: Sequence[LampFace]
) -> dict[int, int]:
    """Return how many times as many points as usual those lamps need that mirrors see low.

    The mirrors lie on one flat face. Of a lamp that their plane cuts, or nearly, they see a
    part, and their lobes fall off steeply there. Where it lies out of the middle of all lobes
    hardly a ray meets it that could tell what falls between points, and of a wide one that is cut
    few points stand for the strip over the plane.
    """
    normal, point = mirrors.normals.mean(axis=0), mirrors.points.mean(axis=0)
    found = {}
    for lamp in lamps:
        shape = surfaces[lamp.surface].shape
        steps = shape.sample(HORIZON_SPOTS).points - point
        height = steps @ normal
        if height.max() <= 0 or height.min() >= LOW * height.max():
            continue
        found[lamp.surface] = LOW_TIMES
        is_cut = height.min() <= 0
        if isinstance(shape, Flat | Ball) and (is_cut or _is_beside(mirrors, steps)):
            _, gap = gauss_points(shape, LOW_TIMES * spots)
            lobe = min(mirrors.roughness) * np.linalg.norm(steps, axis=1).min()
            found[lamp.surface] *= LOW_TIMES if gap > SPARSE * lobe else 1
    return found


def _is_beside(mirrors: Mirrors, steps: Doubles) -> bool:
    """Whether no facet within the lobes' width mirrors to places so far off (m, 3)."""
    some = np.linspace(0, len(mirrors.points) - 1, HORIZON_SPOTS).astype(int)
    ways = steps / np.linalg.norm(steps, axis=1, keepdims=True)
    facets = mirrors.views[some][:, None] + ways
    upward = np.einsum("nmc,nc->nm", facets, mirrors.normals[some])
    across = np.linalg.norm(facets - upward[..., None] * mirrors.normals[some][:, None], axis=2)
    return bool((across > min(mirrors.roughness) * np.maximum(upward, 0.0)).all())
