"""Many small triangles put together to few patches."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers

CANDIDATES = 16  # per patch, among which the first centres are chosen
ROUNDS = 3  # times that the centres are moved to the middle of what is nearest
BEND = 2.0  # a turn of 57 degrees counts as this many patch widths


def grouped(middles: Doubles, normals: Doubles, areas: Doubles, count: int) -> Integers:
    """Return the patch of each triangle, (k,), numbered without gaps.

    Triangles belong together that are near and face the same way: to the nearest of
    at most `count` centres, in the six dimensions of place and normal (Lloyd's rounds from
    centres as far from each other as can be).

    Parameters
    ----------
    middles, normals : (k, 3) float
    areas : (k,) float
        mm2.
    """
    width = np.sqrt(areas.sum() / count)
    places = np.concatenate([middles, BEND * width * normals], axis=1)
    centres = _far_apart(_spread(places, areas, CANDIDATES * count), count)
    for _ in range(ROUNDS):
        patch = _nearest(centres, places)
        weight = np.bincount(patch, areas)
        sums = [np.bincount(patch, areas * places[:, axis]) for axis in range(6)]
        centres = np.stack(sums, axis=1) / weight[:, None]
    return _nearest(centres, places)


def _nearest(centres: Doubles, places: Doubles) -> Integers:
    """Nearest centre of each place; centres that are nearest to none are not counted."""
    from scipy.spatial import cKDTree  # slow to import, and few rigs hold a mesh

    found = cKDTree(centres).query(places)[1]
    return np.asarray(np.unique(found, return_inverse=True)[1])


def _spread(places: Doubles, areas: Doubles, count: int) -> Doubles:
    """Up to `count` of the places, evenly over the area."""
    ends = np.cumsum(areas)
    wanted = (np.arange(count) + 0.5) / count * ends[-1]
    return np.asarray(places[np.unique(np.searchsorted(ends, wanted))])


def _far_apart(places: Doubles, count: int) -> Doubles:
    """Up to `count` of the places, each as far from those before it as can be."""
    chosen = [0]
    gap = np.full(len(places), np.inf)
    for _ in range(min(count, len(places)) - 1):
        gap = np.minimum(gap, np.sum((places - places[chosen[-1]]) ** 2, axis=1))
        chosen.append(int(gap.argmax()))
    return np.asarray(places[chosen])
