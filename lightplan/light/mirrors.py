"""Spots of a rough mirror and the directions they are viewed from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats, Integers, Singles


@dataclass(frozen=True)
class Mirrors:
    """n spots of a rough mirror and the direction each is viewed from.

    Parameters
    ----------
    points, views : (n, 3) float
        Spots [mm] and unit directions to the viewer.
    tangents, others, normals : (n, 3) float
        Frame of each spot; the first roughness runs along `tangents`.
    roughness : (2,) float
        GGX alpha along tangents and others.
    owners : (n,) int
        Surface of each spot.
    """

    points: Doubles
    views: Doubles
    tangents: Doubles
    others: Doubles
    normals: Doubles
    roughness: tuple[float, float]
    owners: Integers

    def some(self, rows: Integers) -> Mirrors:
        """Return some of the spots."""
        return Mirrors(
            self.points[rows],
            self.views[rows],
            self.tangents[rows],
            self.others[rows],
            self.normals[rows],
            self.roughness,
            self.owners[rows],
        )

    def to_local(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) world vectors in each spot's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=2).astype(np.float32)
        return np.asarray(np.matmul(vectors.astype(np.float32), frame))

    def to_world(self, vectors: Floats) -> Singles:
        """Return (n, k, 3) local vectors in the world's frame."""
        frame = np.stack([self.tangents, self.others, self.normals], axis=1).astype(np.float32)
        return np.asarray(np.matmul(vectors.astype(np.float32), frame))
