"""Sharpness in nine small windows at the photograph's own scale.

Sharpness needs the full pixels but not all of them: the windows lie where each ninth of
the sheet has most edges of foil. That costs a tenth of squaring the whole sheet finely.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.measures import SheetMaps
from lightplan.measures.levels import luminance
from lightplan.measures.maps import CLIP_LEVEL
from lightplan.measures.sharpness import TILES, Sharpness, sharpness
from lightplan.shots.sheet.squaring import grid_shape, project

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Doubles, Singles
    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.shot import Shot

PATCH_PX = 80
SCALES = (1, 2, 4, 8)
"""Pixels of the file, along a side, that make one of a window: where the finest ones show no
edge that stands above the noise, or only wider ones, the next are looked at."""
_RIM_PX = 3


def patch_sharpness(
    shot: Shot, found: SheetFound, foil: Singles, *, width_mm: float, height_mm: float
) -> Sharpness:
    """Return the edge widths in nine windows of the sheet.

    Parameters
    ----------
    shot : Shot
    found : SheetFound
        Corners in pixels of `shot.encoded`, turned as the foil mask lies.
    foil : (rows, cols) float32
        Share of foil on the sheet's grid.
    width_mm, height_mm : float

    Returns
    -------
    Sharpness
        Widths in pixels of the file; its measures count elements along the sheet.
    """
    finest = grid_shape(found, width_mm=width_mm, height_mm=height_mm, long_side=1 << 14)
    size_mm, sharp = (width_mm, height_mm), None
    for scale in SCALES:
        fine = finest[0] // scale, finest[1] // scale
        if sharp is not None and min(fine) < TILES * PATCH_PX:
            break
        looked = _looked_at(shot, found, foil, fine, scale, size_mm)
        if sharp is None or looked.measures:
            sharp = _for_the_sheet(looked, shot.reduction * scale, max(size_mm))
        if looked.is_settled:
            break
    assert sharp is not None
    return sharp


def _looked_at(
    shot: Shot,
    found: SheetFound,
    foil: Singles,
    fine: tuple[int, int],
    scale: int,
    size_mm: tuple[float, float],
) -> Sharpness:
    """Return the edge widths in windows of a grid, each pixel the mean of scale^2 of the file's."""
    patch = min(PATCH_PX, min(fine) // TILES)
    places = _patch_places(foil, fine, patch)
    light = np.zeros((TILES * patch, TILES * patch, 3), np.float32)
    inner = np.zeros(light.shape[:2], np.bool_)
    windows = _window_corners(found, fine, places, patch)
    for i, corners in enumerate(windows):
        top, left = i // TILES * patch, i % TILES * patch
        seen = _warped(shot, corners, patch, scale)
        light[top : top + patch, left : left + patch] = seen[..., None]
        inner[top + _RIM_PX : top + patch - _RIM_PX, left + _RIM_PX : left + patch - _RIM_PX] = True
    pixel_mm = size_mm[0] / fine[1], size_mm[1] / fine[0]
    maps = SheetMaps.from_linear(
        light,
        np.zeros(inner.shape, np.float32),
        valid=inner,
        width_mm=pixel_mm[0] * light.shape[1],
        height_mm=pixel_mm[1] * light.shape[0],
    )
    return sharpness(maps, halvings=0)


def _patch_places(foil: Singles, fine: tuple[int, int], patch: int) -> list[tuple[int, int]]:
    """Return the top left (row, column), on the fine grid, of each ninth's window."""
    rows, cols = foil.shape
    edge = cv2.morphologyEx(foil, cv2.MORPH_GRADIENT, np.ones((3, 3), np.uint8))
    size = max(1, round(patch * rows / fine[0])), max(1, round(patch * cols / fine[1]))
    crowd = cv2.boxFilter(edge, -1, size[::-1], anchor=(0, 0), borderType=cv2.BORDER_CONSTANT)
    places = []
    for i in range(TILES):
        for j in range(TILES):
            top, left = i * rows // TILES, j * cols // TILES
            last = (i + 1) * rows // TILES - size[0], (j + 1) * cols // TILES - size[1]
            box = crowd[top : max(top, last[0]) + 1, left : max(left, last[1]) + 1]
            row, col = np.unravel_index(int(np.argmax(box)), box.shape)
            first = (top + int(row)) * fine[0] // rows, (left + int(col)) * fine[1] // cols
            places.append((min(first[0], fine[0] - patch), min(first[1], fine[1] - patch)))
    return places


def _window_corners(
    found: SheetFound, fine: tuple[int, int], places: list[tuple[int, int]], patch: int
) -> Doubles:
    """Return where the corner pixels of windows lie in the photograph, (n, 2, 2, 2)."""
    row, col = np.array(places).T[..., None, None]
    ends = np.array([0.5, patch - 0.5])
    u, v = np.broadcast_arrays((col + ends) / fine[1], (row + ends[:, None]) / fine[0])
    return project(found, u, v)


def _warped(shot: Shot, corners: Doubles, patch: int, scale: int) -> Singles:
    """Return the luminance of one window of the sheet, (patch, patch).

    Each pixel is the mean of scale^2 of the file's. A window is small: straight between its
    corners. Sharpness asks for luminance alone, and to turn one channel takes a third of the time.
    """
    ends = corners.reshape(-1, 2)  # straight between them, so nothing lies farther out
    low = np.maximum(np.floor(ends.min(axis=0)).astype(int) - 2 * scale, 0)
    high = np.ceil(ends.max(axis=0)).astype(int) + 2 * scale + 1
    part = shot.linear_part(slice(int(low[0]), int(high[0])), slice(int(low[1]), int(high[1])))
    if min(part.shape[:2]) < scale:  # the window lies beyond the frame
        return np.zeros((patch, patch), np.float32)
    level = luminance(np.minimum(part, np.float32(CLIP_LEVEL)))
    if scale > 1:
        rows, cols = (n // scale for n in level.shape)
        whole = np.ascontiguousarray(level[: rows * scale, : cols * scale])
        level = np.asarray(cv2.resize(whole, (cols, rows), interpolation=cv2.INTER_AREA))
    first = (corners - low + 0.5) / scale - 0.5
    steps = np.arange(patch) / (patch - 1)
    across: Doubles = first[:, :1] + (first[:, 1:] - first[:, :1]) * steps[:, None]
    at = (across[0] + (across[1] - across[0]) * steps[:, None, None]).astype(np.float32)
    seen: NDArray[Any] = cv2.remap(
        level, at[..., 1], at[..., 0], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return seen


def _for_the_sheet(found: Sharpness, file_px: float, long_side_mm: float) -> Sharpness:
    """Return the figures for the whole sheet and for pixels of the file."""
    told = dict(found.measures)
    if "sharpness_edge_rise_mm" in told:
        rise, error = told["sharpness_edge_rise_mm"]
        resolved = long_side_mm / rise
        told["sharpness_resolved_count"] = (resolved, resolved * error / rise)
        value, error = told["sharpness_edge_rise_px"]
        told["sharpness_edge_rise_px"] = (value * file_px, error * file_px)
    return replace(found, rise_px=found.rise_px * file_px, measures=told)
