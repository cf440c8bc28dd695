"""Patches of one colour or one calm that could be the sheet, as rough outlines.

Long straight edges drown where the table has many of its own, as wood does. A sheet is
also a compact patch: brighter, darker, of another colour or calmer than its table.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.shots.sheet import naming, quads

if TYPE_CHECKING:
    from collections.abc import Callable

    from lightplan.arrays import Booleans, Doubles
    from lightplan.shots.sheet.previews import Coded, Picture

_WORK_PX = 320  # long side of the copy in which patches are looked for
_LEVELS = 9  # thresholds tried in each plane, between its extremes
_LEAST_SHARE, _MOST_SHARE = 0.008, 0.9  # of the frame
_LEAST_SOLID = 0.9  # share of its quad that a patch fills, and the other way round
_MOST_MISFIT = 0.15
_OPPONENT = ((1 / 3, 1 / 3, 1 / 3), (1.0, -1.0, 0.0), (-0.5, -0.5, 1.0))


def propose(coded: Coded, misfit_of: Callable[[Doubles], Doubles], *, most: int = 10) -> Doubles:
    """Return rough corners (n, 4, 2) as x, y of patches shaped like the sheet, best first.

    Parameters
    ----------
    coded : (rows, cols, 3)
        Perceptual picture, 0 to 255.
    misfit_of : function
        From corners (n, 4, 2) to how far each is from the sheet's shape (n,).
    """
    scale = min(1.0, _WORK_PX / max(coded.shape[:2]))
    size = (round(coded.shape[1] * scale), round(coded.shape[0] * scale))
    small = cv2.resize(coded, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    found = [patch for plane in _planes(small) for patch in _patches(plane)]
    if not found:
        return np.empty((0, 4, 2))
    rough = (np.array([patch.corners for patch in found]) + 0.5) / scale - 0.5
    named, misfit = naming.named(rough, misfit_of)
    worth = np.array([patch.solid for patch in found]) - 2 * misfit
    keep = np.flatnonzero(misfit < _MOST_MISFIT)
    order = keep[np.argsort(-worth[keep], kind="stable")]
    chosen = quads.distinct(named, order, 0.006 * max(coded.shape[:2]), most)
    straight = [_straightened(found[i].corners, found[i].outline) for i in chosen]
    finer = [(quad + 0.5) / scale - 0.5 for quad in straight if quad is not None]
    if not finer:
        return np.asarray(named[chosen])
    return np.concatenate([naming.named(np.array(finer), misfit_of)[0], named[chosen]])


@dataclass(frozen=True, eq=False)
class _Patch:
    corners: Doubles  # (4, 2) x, y
    outline: Picture  # (n, 2)
    solid: float  # how well patch and quad cover each other


def _planes(small: Picture) -> list[Picture]:
    """Return brightness, two colours and unrest, fine grain smoothed away."""
    opponent = cv2.transform(small, np.array(_OPPONENT, np.float32))
    smooth = cv2.GaussianBlur(opponent, (0, 0), 2.0)
    unrest = np.abs(opponent[..., 0] - cv2.GaussianBlur(opponent[..., 0], (0, 0), 1.5))
    broad = cv2.blur(np.minimum(unrest, 8.0), (7, 7))
    return [*cv2.split(smooth), np.log2(broad + 0.3)]


def _patches(plane: Picture) -> list[_Patch]:
    """Return the patches beyond thresholds that are nearly quads."""
    low, high = np.percentile(plane, (2, 98))
    if high - low < 1e-3:
        return []
    found = []
    for level in np.linspace(low, high, _LEVELS + 2)[1:-1]:
        for above in (True, False):
            found += _quads_of((plane > level) == above)
    return found


def _quads_of(mask: Booleans) -> list[_Patch]:
    rows, cols = mask.shape
    opened = cv2.morphologyEx(mask.view(np.uint8), cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    outlines = cv2.findContours(opened, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    found = []
    for outline in outlines:
        area = cv2.contourArea(outline)
        if not _LEAST_SHARE < area / (rows * cols) < _MOST_SHARE:
            continue
        hull = cv2.convexHull(outline)
        quad = _four_corners(hull)
        if quad is None:
            continue
        covered = cv2.contourArea(quad.astype(np.float32))
        solid = min(area, covered) / max(area, covered, cv2.contourArea(hull))
        if solid >= _LEAST_SOLID:
            found.append(_Patch(quad, outline.reshape(-1, 2), float(solid)))
    return found


def _four_corners(hull: Picture) -> Doubles | None:
    """Return the quad (4, 2) nearest to a convex outline, or None."""
    length = cv2.arcLength(hull, True)
    for slack in (0.01, 0.015, 0.02, 0.03, 0.04, 0.06, 0.08):
        rough = cv2.approxPolyDP(hull, slack * length, True)
        if len(rough) == 4:
            return np.asarray(rough.reshape(4, 2), np.float64)
        if len(rough) < 4:
            return None
    return None


def _straightened(rough: Doubles, outline: Picture) -> Doubles | None:
    """Return a quad whose sides run through the outline's points, stray ones left aside."""
    points = outline.astype(np.float64)
    lines = []
    for start, stop in zip(rough, np.roll(rough, -1, axis=0), strict=True):
        run = stop - start
        length = max(float(np.linalg.norm(run)), 1e-9)
        along = (points - start) @ run / length**2
        beside = np.abs((points - start) @ np.array([-run[1], run[0]])) / length
        near = points[(along > 0.08) & (along < 0.92) & (beside < 0.06 * length + 2)]
        if len(near) < 6:
            return None
        dx, dy, x, y = cv2.fitLine(near.astype(np.float32), cv2.DIST_WELSCH, 0, 0.01, 0.01).ravel()
        lines.append(np.array([-dy, dx, -dy * x + dx * y], np.float64))
    corners = []
    for before, here in zip([lines[-1], *lines[:-1]], lines, strict=True):
        normals = np.stack([before[:2], here[:2]])
        if abs(float(np.linalg.det(normals))) < 0.1:
            return None
        corners.append(np.linalg.solve(normals, [before[2], here[2]]))
    return np.array(corners)
