"""Sharpness across the frame from the edges of the artwork. For photographs.

An edge's width is the distance over which it rises from 10 to 90 % of its step, measured
across the strongest edges in each ninth of the sheet. A Gaussian blur of standard
deviation s gives 2.563 s (quantiles of the normal distribution).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from lightplan.arrays import Booleans, Doubles, Singles, read_only
from lightplan.measures.grid import Indices
from lightplan.measures.levels import luminance
from lightplan.measures.maps import CLIP_LEVEL, SheetMaps

TILES = 3
EDGES_PER_TILE = 80
REACH_PX = 12.0
STEP_PX = 0.25
LEAST_STEP = 0.04
"""Least step of an edge, as a share of the clip level, for its width to be measured."""
LEAST_EDGES = 5


@dataclass(frozen=True, eq=False)
class Sharpness:
    """Edge widths over the sheet.

    Parameters
    ----------
    rise_px, rise_mm : (3, 3) float
        Median 10 to 90 % width in each ninth of the sheet, row 0 far; NaN where the
        artwork has too few edges.
    edges : (3, 3) float
        Edges that were measured.
    measures : dict
        Value and uncertainty by name, to join to the other measures; empty when no
        edge was found.
    """

    rise_px: Doubles
    rise_mm: Doubles
    edges: Doubles
    measures: dict[str, tuple[float, float]]


def sharpness(maps: SheetMaps) -> Sharpness:
    """Return the widths of the edges in each ninth of the sheet.

    Measure it on the sheet squared at about the photograph's own scale: enlarging the
    picture widens every edge in pixels (not in mm).
    """
    level = luminance(np.minimum(maps.linear, np.float32(CLIP_LEVEL)))
    level = np.where(maps.valid, level, np.float32(0.0)).astype(np.float32)
    size_mm = float(np.sqrt(maps.pixel_mm[0] * maps.pixel_mm[1]))
    rise = np.full((TILES, TILES), np.nan)
    edges = np.zeros((TILES, TILES))
    every: list[Doubles] = []
    down, right = _gradient(level)
    strength = _thinned(np.hypot(down, right), maps)
    rows, cols = level.shape
    for i in range(TILES):
        for j in range(TILES):
            box = np.s_[
                i * rows // TILES : (i + 1) * rows // TILES,
                j * cols // TILES : (j + 1) * cols // TILES,
            ]
            widths = _tile(level, strength, down, right, box)
            edges[i, j] = len(widths)
            if len(widths) >= LEAST_EDGES:
                rise[i, j] = np.median(widths)
                every.append(widths)
    return Sharpness(
        read_only(rise), read_only(rise * size_mm), read_only(edges),
        _measures(maps, rise, every, size_mm),
    )  # fmt: skip


def _measures(
    maps: SheetMaps, rise: Doubles, every: list[Doubles], size_mm: float
) -> dict[str, tuple[float, float]]:
    if not every:
        return {}
    widths = np.concatenate(every)
    typical = float(np.median(widths))
    # Standard error of a median of normal values: 1.2533 sigma / sqrt(n).
    error = 1.2533 * float(widths.std()) / float(np.sqrt(len(widths)))
    worst = float(np.nanmax(rise))
    resolved = max(maps.width_mm, maps.height_mm) / (typical * size_mm)
    return {
        "sharpness_edge_rise_px": (typical, error),
        "sharpness_edge_rise_mm": (typical * size_mm, error * size_mm),
        "sharpness_worst_ninth_mm": (worst * size_mm, error * size_mm * 3.0),
        "sharpness_resolved_count": (resolved, resolved * error / typical),
    }


def _gradient(level: Singles) -> tuple[Singles, Singles]:
    calm = cv2.GaussianBlur(level, (0, 0), 1.0)
    down = cv2.Sobel(calm, cv2.CV_32F, 0, 1, ksize=3)
    right = cv2.Sobel(calm, cv2.CV_32F, 1, 0, ksize=3)
    return down.astype(np.float32), right.astype(np.float32)


def _thinned(strength: Singles, maps: SheetMaps) -> Singles:
    """Return the gradient where it is the greatest of its 5 x 5 neighbourhood, else 0."""
    top = strength >= cv2.dilate(strength, np.ones((5, 5), np.uint8))
    safe = cv2.erode(maps.valid.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    border = int(REACH_PX) // 2
    inside = np.zeros(strength.shape, np.bool_)
    inside[border:-border, border:-border] = True
    return np.where(top & safe & inside, strength, np.float32(0.0)).astype(np.float32)


def _tile(
    level: Singles, strength: Singles, down: Singles, right: Singles, box: tuple[slice, slice]
) -> Doubles:
    part = strength[box]
    count = min(EDGES_PER_TILE, part.size)
    flat = np.argpartition(part.ravel(), part.size - count)[-count:]
    flat = flat[part.ravel()[flat] > 0.0]
    if not len(flat):
        return np.empty(0)
    row, col = np.unravel_index(flat, part.shape)
    row, col = row + box[0].start, col + box[1].start
    size = strength[row, col]
    reach = np.arange(-REACH_PX, REACH_PX + STEP_PX, STEP_PX, dtype=np.float32)
    at_row = row[:, None] + reach * (down[row, col] / size)[:, None]
    at_col = col[:, None] + reach * (right[row, col] / size)[:, None]
    profile = cv2.remap(
        level, at_col.astype(np.float32), at_row.astype(np.float32), cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return _rise_px(profile.reshape(len(row), len(reach)).astype(np.float64))


def _rise_px(profile: Doubles) -> Doubles:
    """Return 10 to 90 % widths of rising profiles (n, k), those that are clean steps.

    The ends of the step are where the profile stops rising on either side of its middle.
    """
    middle = profile.shape[1] // 2
    span = profile.max(axis=1) - profile.min(axis=1)
    rising = np.diff(profile, axis=1) > (0.01 * span * STEP_PX)[:, None]
    low = middle - _run_length(rising[:, :middle][:, ::-1])
    high = middle + _run_length(rising[:, middle:])
    row = np.arange(len(profile))
    bottom, top = profile[row, low], profile[row, high]
    clean = (top - bottom >= LEAST_STEP) & (low > 0) & (high < rising.shape[1])
    share = (profile[clean] - bottom[clean, None]) / (top - bottom)[clean, None]
    start, end = (_crossing(share, low[clean], high[clean], level) for level in (0.1, 0.9))
    widths: Doubles = (end - start) * STEP_PX
    return widths


def _run_length(flags: Booleans) -> Indices:
    """Return how many flags of each row (n, k) are set before the first that is not.

    >>> _run_length(np.array([[True, False, True], [True, True, True]])).tolist()
    [1, 3]
    """
    length: Indices = np.logical_and.accumulate(flags, axis=1).sum(axis=1)
    return length


def _crossing(share: Doubles, low: Indices, high: Indices, level: float) -> Doubles:
    """Return where rows (n, k), rising from `low` to `high`, pass a level between samples."""
    row, place = np.arange(len(share)), np.arange(share.shape[1])
    within = (place >= low[:, None]) & (place <= high[:, None])
    before = low + (within & (share <= level)).sum(axis=1) - 1
    left, right = share[row, before], share[row, before + 1]
    crossing: Doubles = 1.0 / (right - left) * (level - left) + (before - low)
    return crossing
