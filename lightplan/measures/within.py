"""What the mask fixes for the ink test: thinness of the shapes, paper near by, lines within."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import cv2
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Singles

LEAK_SHARE = 0.006
"""Blur that is allowed for, as a share of the sheet's longer side: 1 mm of 170. Our choice."""
PATCHES = 6
"""Patches along the sheet's longer side in which the paper's own light is followed."""
STEADY_CELLS = 4.0
"""Cells of paper at which a patch is followed by half. Our choice."""
FAR_SHARE, THICKEST, THICKNESS_POWER = 0.1, 0.75, 4
"""Way from the foil's core, as a share of the longer side, from which thin strokes count; which,
beside the thickest near by; and how much more those count that are thicker. Our choice."""
WIDE_MM, NARROW_MM = 8.0, 1.4
MOST_LINES = 150

Indices = NDArray[np.intp]


class LinesWithin(NamedTuple):
    """Short lines within shapes.

    Parameters
    ----------
    at : (4, k) int
        Flat indices of the pixels at their ends, and of two near their middle.
    narrow_scale : (k,) float
        What the step between those two is multiplied with to stand for `NARROW_MM`.
    """

    at: Indices
    narrow_scale: Doubles


def lines_in(core: Singles, *, width_mm: float, height_mm: float) -> LinesWithin:
    """Return lines `WIDE_MM` long, along rows and columns, that lie in the core of the foil."""
    rows, cols = core.shape
    found, scales = [], []
    solid = core > 0
    for axis, size in ((1, width_mm / cols), (0, height_mm / rows)):
        reach = max(1, round(0.5 * WIDE_MM / size))
        near = max(0, round(0.5 * NARROW_MM / size - 0.5))
        window = (1, 2 * reach + 2) if axis else (2 * reach + 2, 1)
        anchor = (reach, 0) if axis else (0, reach)
        whole = cv2.erode(
            solid.astype(np.uint8),
            np.ones(window, np.uint8),
            anchor=anchor,
            borderType=cv2.BORDER_CONSTANT,
            borderValue=0,
        )
        middle = np.flatnonzero(whole)
        kept = middle[
            np.linspace(0, len(middle) - 1, min(len(middle), MOST_LINES // 2)).astype(int)
        ]
        step = 1 if axis else cols
        off = np.array([-reach, -near, near + 1, reach + 1]) * step
        found.append(kept + off[:, None])
        scales.append(np.full(len(kept), NARROW_MM / ((2 * near + 1) * size)))
    return LinesWithin(np.concatenate(found, axis=1), np.concatenate(scales))


def blurred(foil: Singles) -> Singles:
    """Return the share of foil round each pixel, under a blur of `LEAK_SHARE`."""
    sigma = LEAK_SHARE * max(foil.shape)
    soft = cv2.GaussianBlur(foil, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    return np.asarray(soft, np.float32)


def strokes_far_from(core: Booleans, solid: Booleans) -> Singles:
    """Return how much the middle of strokes tells in parts of the sheet far from the foil's core.

    A frame of fine lines may be all that shows how dark the foil is beside a bright band.
    1 where strokes are thickest, nearly nothing where they are half as thick; 0 elsewhere.
    """
    if not core.any() or core.all():
        return np.zeros(solid.shape, np.float32)
    side = max(solid.shape)
    away = cv2.distanceTransform((~core).view(np.uint8), cv2.DIST_L2, 3)
    far = solid & (away > FAR_SHARE * side)
    if not far.any():
        return np.zeros(solid.shape, np.float32)
    deep = cv2.distanceTransform(far.view(np.uint8), cv2.DIST_C, 3)
    box = np.ones((max(3, round(FAR_SHARE * side)),) * 2, np.uint8)
    middle = far & (deep >= THICKEST * cv2.dilate(deep, box))
    return np.asarray(np.where(middle, (deep / deep.max()) ** THICKNESS_POWER, 0.0), np.float32)


def patches_of(
    paper: tuple[Doubles, Doubles], foil: tuple[Doubles, Doubles], cover: Doubles, side_mm: float
) -> tuple[Doubles, Doubles]:
    """Return what gathers paper's cells into patches (k, n), and spreads them to foil's (m, k).

    Gaussian patches on a square lattice; one with little paper holds back.
    """
    count = 2 * PATCHES + 1
    step = side_mm / PATCHES
    axis = (np.arange(count) - PATCHES) * 0.5 * step
    across, up = (a.ravel() for a in np.meshgrid(axis, axis))

    def near(at: tuple[Doubles, Doubles]) -> Doubles:
        apart = (across[:, None] - at[0]) ** 2 + (up[:, None] - at[1]) ** 2
        return np.asarray(np.exp(-apart / (0.5 * step * step)))

    weight = near(paper) * cover
    total = weight.sum(axis=1)
    used = total > 0.1
    gathered = weight[used] / (total[used, None] + STEADY_CELLS)
    to_foil = near(foil)[used].T
    spread = to_foil / np.maximum(to_foil.sum(axis=1, keepdims=True), 1e-6)
    return gathered, spread
