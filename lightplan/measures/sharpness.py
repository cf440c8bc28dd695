"""Sharpness across the frame from the edges of the artwork. For photographs.

An edge's width is the distance over which it rises from 10 to 90 % of its step, measured
across the strongest edges in each ninth of the sheet. A Gaussian blur of standard
deviation s gives 2.563 s (quantiles of the normal distribution).

Noise has edges too, and they are sharp. So an edge counts only when its step stands far
above the noise; where few do, or most are wider than what is looked at, the picture is
measured again at half its size, where noise is half and edges are half as wide.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.arrays import Booleans, Doubles, Singles, read_only
from lightplan.measures.levels import luminance
from lightplan.measures.maps import CLIP_LEVEL, SheetMaps

if TYPE_CHECKING:
    from lightplan.measures.grid import Indices

TILES = 3
EDGES_PER_TILE = 80
REACH_PX = 12.0
STEP_PX = 0.25
LEAST_STEP = 0.04
"""Least step of an edge, as a share of the clip level, for its width to be measured."""
LEAST_EDGES = 5
NOISES = 8.0
"""Least step of an edge in standard deviations of the noise. Our choice."""
HALVINGS = 4
LEAST_SIDE = 60
NOISE_LEVELS = (0.0015, 0.003)
NOISE_REACH = 3
"""Noise of a profile, of the clip level, from which rises are looked for over 3, over 6 samples
to either side. Our choice."""
ALONG_PX = (-2.0, -1.0, 0.0, 1.0, 2.0)
"""Profiles are means over so far along the edge, which takes noise out."""


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
    is_settled : bool
        Whether enough edges stand above the noise, most of them no wider than what was
        looked at. If not, a picture with half as many pixels tells more.
    """

    rise_px: Doubles
    rise_mm: Doubles
    edges: Doubles
    measures: dict[str, tuple[float, float]]
    is_settled: bool


def sharpness(maps: SheetMaps, *, halvings: int = HALVINGS) -> Sharpness:
    """Return the widths of the edges in each ninth of the sheet.

    Measure it on the sheet squared at about the photograph's own scale: enlarging the
    picture widens every edge in pixels (not in mm).

    Parameters
    ----------
    maps : SheetMaps
    halvings : int
        How often the picture may be halved until the edges are settled.
    """
    level = luminance(np.minimum(maps.linear, np.float32(CLIP_LEVEL)))
    level = np.where(maps.valid, level, np.float32(0.0)).astype(np.float32)
    size_mm = float(np.sqrt(maps.pixel_mm[0] * maps.pixel_mm[1]))
    valid, scale = maps.valid, 1.0
    tiles = _tiles(level, valid)
    for _ in range(halvings):
        if tiles.is_settled or min(level.shape) < 2 * LEAST_SIDE:
            break
        level, scale = _halved(level), 2.0 * scale
        valid = _halved(valid.astype(np.float32)) > 0.999
        coarser = _tiles(level, valid)
        tiles = coarser if coarser.count else tiles
        tiles = replace(tiles, scale=scale) if tiles is coarser else tiles
    rise = tiles.rise * tiles.scale
    every = [widths * tiles.scale for widths in tiles.widths if len(widths) >= LEAST_EDGES]
    return Sharpness(
        read_only(rise),
        read_only(rise * size_mm),
        read_only(tiles.edges),
        _measures(maps, rise, every, size_mm),
        tiles.is_settled,
    )


@dataclass(frozen=True, eq=False)
class _Tiles:
    """Widths of the edges in the ninths of a level, in its own pixels.

    `open_share` is the share of strong edges that rise over all that was looked at.
    """

    widths: list[Doubles]
    open_share: float
    scale: float = 1.0

    @property
    def count(self) -> int:
        return sum(len(widths) for widths in self.widths)

    @property
    def is_settled(self) -> bool:
        return self.count >= 3 * LEAST_EDGES and self.open_share < 0.5

    @property
    def edges(self) -> Doubles:
        return np.array([len(w) for w in self.widths], float).reshape(TILES, TILES)

    @property
    def rise(self) -> Doubles:
        found = [np.median(w) if len(w) >= LEAST_EDGES else np.nan for w in self.widths]
        return np.array(found).reshape(TILES, TILES)


def _tiles(level: Singles, valid: Booleans) -> _Tiles:
    down, right = _gradient(level)
    strength = _thinned(np.hypot(down, right), valid)
    noise = _noise(level)
    rows, cols = level.shape
    found, wide, looked = [], 0, 0
    for i in range(TILES):
        for j in range(TILES):
            box = np.s_[
                i * rows // TILES : (i + 1) * rows // TILES,
                j * cols // TILES : (j + 1) * cols // TILES,
            ]
            widths, is_open = _tile(level, strength, down, right, box, noise)
            found.append(widths)
            wide, looked = wide + is_open, looked + is_open + len(widths)
    return _Tiles(found, wide / max(looked, 1))


def _halved(level: Singles) -> Singles:
    rows, cols = (n // 2 for n in level.shape)
    small = cv2.resize(level[: 2 * rows, : 2 * cols], (cols, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.float32)


def _noise(level: Singles) -> float:
    """Return the standard deviation of a pixel, from second differences along the rows."""
    bend = np.abs(level[:, :-2] - 2.0 * level[:, 1:-1] + level[:, 2:])
    return 1.4826 * float(np.median(bend)) / float(np.sqrt(6.0))


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


def _thinned(strength: Singles, valid: Booleans) -> Singles:
    """Return the gradient where it is the greatest of its 5 x 5 neighbourhood, else 0."""
    top = strength >= cv2.dilate(strength, np.ones((5, 5), np.uint8))
    safe = cv2.erode(valid.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    border = int(REACH_PX) // 2
    inside = np.zeros(strength.shape, np.bool_)
    inside[border:-border, border:-border] = True
    return np.where(top & safe & inside, strength, np.float32(0.0)).astype(np.float32)


def _tile(
    level: Singles,
    strength: Singles,
    down: Singles,
    right: Singles,
    box: tuple[slice, slice],
    noise: float,
) -> tuple[Doubles, int]:
    """Return the widths of the strongest edges, and how many rise over all that is looked at."""
    part = strength[box]
    count = min(EDGES_PER_TILE, part.size)
    flat = np.argpartition(part.ravel(), part.size - count)[-count:]
    flat = flat[part.ravel()[flat] > 0.0]
    if not len(flat):
        return np.empty(0), 0
    row, col = np.unravel_index(flat, part.shape)
    row, col = row + box[0].start, col + box[1].start
    size = strength[row, col]
    step_down, step_right = (down[row, col] / size)[:, None], (right[row, col] / size)[:, None]
    reach = np.arange(-REACH_PX, REACH_PX + STEP_PX, STEP_PX, dtype=np.float32)
    profile = np.zeros((len(row), len(reach)))
    for along in ALONG_PX:
        at_row = row[:, None] + reach * step_down + along * step_right
        at_col = col[:, None] + reach * step_right - along * step_down
        profile += cv2.remap(
            level,
            at_col.astype(np.float32),
            at_row.astype(np.float32),
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        ).reshape(profile.shape) / len(ALONG_PX)
    return _rise_px(profile, max(LEAST_STEP, NOISES * noise), noise / np.sqrt(len(ALONG_PX)))


def _rise_px(profile: Doubles, least: float, noise: float = 0.0) -> tuple[Doubles, int]:
    """Return 10 to 90 % widths of rising profiles (n, k), those that are clean steps.

    The ends of the step are where the profile stops rising on either side of its middle;
    under noise, where it rises over a few samples by less than twice the noise. Steps of
    `least` or more that do not stop within the profile are counted.
    """
    middle = profile.shape[1] // 2
    span = profile.max(axis=1) - profile.min(axis=1)
    reach = int(np.searchsorted(NOISE_LEVELS, noise)) * NOISE_REACH
    ahead = np.pad(profile, ((0, 0), (0, reach)), mode="edge")[:, reach + 1 :]
    behind = np.pad(profile, ((0, 0), (reach, 0)), mode="edge")[:, : ahead.shape[1]]
    slope = 0.01 * STEP_PX * (2 * reach + 1)
    rising = ahead - behind > np.maximum(slope * span, 2.0 * noise * (reach > 0))[:, None]
    low = middle - _run_length(rising[:, :middle][:, ::-1])
    high = middle + _run_length(rising[:, middle:])
    row = np.arange(len(profile))
    bottom, top = profile[row, low], profile[row, high]
    is_step = top - bottom >= least
    # Under noise a wide edge looks like many small ones: one counts that is most of the rise.
    is_whole = top - bottom >= (0.6 if reach else 0.0) * span
    ends = (low > 0) & (high < rising.shape[1]) & is_whole
    clean = is_step & ends
    share = (profile[clean] - bottom[clean, None]) / (top - bottom)[clean, None]
    start, end = (_crossing(share, low[clean], high[clean], level) for level in (0.1, 0.9))
    widths: Doubles = (end - start) * STEP_PX
    return widths, int(np.count_nonzero(is_step & ~ends))


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
