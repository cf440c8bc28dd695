"""The sheet as it lies: height and normals where it is bowed or wavy, and its fine unevenness.

Waviness is a sum of plane waves whose lengths lie about the stock's own and whose directions
and phases its seed draws: far many waves, and their slopes are those of a Gaussian surface
(central limit). It swings the mirror image; heights of some micrometres move nothing else.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import compiled

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats
    from lightplan.scene.sheet import Sheet, Waviness

WAVES = 32
LENGTHS = (0.6, 1.7)  # of the stock's wavelength, spread evenly in their logarithm


def height(sheet: Sheet, x: Floats, y: Floats) -> Doubles:
    """Return the height over the table in mm at (x, y).

    A bow is a parabola along its direction, 0 at the two far edges and `bow_mm` in the
    middle; a wave is a sine along the same direction.
    """
    flat, (cosine, sine) = sheet.flatness, _direction(sheet)
    along = cosine * np.asarray(x, float) + sine * np.asarray(y, float)
    bow = flat.bow_mm * (1 - (along / _half(sheet)) ** 2)
    return np.asarray(bow + flat.wave_mm * np.sin(2 * np.pi * along / flat.wave_length_mm))


def normals(sheet: Sheet, x: Floats, y: Floats) -> Doubles:
    """Return unit normals (..., 3) at (x, y)."""
    flat, (cosine, sine) = sheet.flatness, _direction(sheet)
    along = cosine * np.asarray(x, float) + sine * np.asarray(y, float)
    turn = 2 * np.pi / flat.wave_length_mm
    slope = -2 * flat.bow_mm * along / _half(sheet) ** 2
    slope = slope + flat.wave_mm * turn * np.cos(turn * along)
    up = np.stack([-cosine * slope, -sine * slope, np.ones_like(slope)], axis=-1)
    return np.asarray(up / np.linalg.norm(up, axis=-1, keepdims=True))


def mirror_normals(sheet: Sheet, x: Floats, y: Floats) -> Doubles:
    """Return unit normals (..., 3) at (x, y) as a mirror has them, fine unevenness included."""
    even, wavy = normals(sheet, x, y), sheet.paper.waviness
    if wavy is None:
        return even
    slope_x, slope_y = wave_slopes(wavy, x, y)
    tilted = even / even[..., 2:] - np.stack([slope_x, slope_y, np.zeros_like(slope_x)], axis=-1)
    return np.asarray(tilted / np.linalg.norm(tilted, axis=-1, keepdims=True))


def wave_slopes(wavy: Waviness, x: Floats, y: Floats) -> tuple[Doubles, Doubles]:
    """Return the slopes of the fine unevenness along x and y."""
    at_x, at_y = (np.ascontiguousarray(v, float) for v in np.broadcast_arrays(x, y))
    found = np.empty((2, at_x.size))
    _wave_slopes(at_x.reshape(-1), at_y.reshape(-1), *_waves(wavy), *found)
    found_x, found_y = found.reshape(2, *at_x.shape)
    return found_x, found_y


@compiled
def _wave_slopes(
    x: Doubles,
    y: Doubles,
    across: Doubles,
    down: Doubles,
    phase: Doubles,
    slope: Doubles,
    found_x: Doubles,
    found_y: Doubles,
) -> None:
    """Write the slopes at places (n,) of waves (w,), which are as `_waves` has them."""
    for i in range(x.shape[0]):
        found_x[i] = found_y[i] = 0.0
    for w in range(phase.shape[0]):
        turn = math.hypot(across[w], down[w])
        to_x, to_y = across[w] / turn * slope[w], down[w] / turn * slope[w]
        for i in range(x.shape[0]):
            swing = math.cos(across[w] * x[i] + down[w] * y[i] + phase[w])
            found_x[i] += to_x * swing
            found_y[i] += to_y * swing


def wave_height(wavy: Waviness, x: Floats, y: Floats) -> Doubles:
    """Return the height of the fine unevenness in mm: what `wave_slopes` are the slopes of."""
    across, down, phase, slope = _waves(wavy)
    found = np.zeros(np.shape(x))
    for kx, ky, start, steep in zip(across, down, phase, slope, strict=True):
        found += (
            steep / math.hypot(kx, ky) * np.sin(kx * np.asarray(x) + ky * np.asarray(y) + start)
        )
    return found


@lru_cache(maxsize=16)
def _waves(wavy: Waviness) -> tuple[Doubles, Doubles, Doubles, Doubles]:
    """Wave numbers along x and y [1/mm], phases, and steepest slope of each wave.

    Directions stand evenly round the half circle, in an order that the seed draws, so that
    the slope is alike along x and y: sum of s^2 cos^2 / 2 = WAVES s^2 / 4.
    """
    draw = np.random.default_rng(wavy.seed)
    low, high = np.log(LENGTHS)
    length = wavy.wavelength_mm * np.exp(low + (high - low) * (np.arange(WAVES) + 0.5) / WAVES)
    angle = np.pi * (draw.permutation(WAVES) + draw.random()) / WAVES
    turn = 2 * np.pi / length
    steep = np.full(WAVES, 2 * math.tan(wavy.slope_rad) / math.sqrt(WAVES))
    return turn * np.cos(angle), turn * np.sin(angle), 2 * np.pi * draw.random(WAVES), steep


def greatest_curvature(sheet: Sheet) -> float:
    """Return how fast the slope changes at the most, in radians per mm."""
    flat = sheet.flatness
    bow = 2 * abs(flat.bow_mm) / _half(sheet) ** 2
    return float(bow + abs(flat.wave_mm) * (2 * math.pi / flat.wave_length_mm) ** 2)


def bow_of(sheet: Sheet) -> tuple[float, float, float, float]:
    """Return the bow: its height, cosine and sine of its direction, half its length, mm."""
    return (sheet.flatness.bow_mm, *_direction(sheet), _half(sheet))


def is_flat(sheet: Sheet) -> bool:
    """Whether it lies on the plane z = 0."""
    return sheet.flatness.bow_mm == 0 and sheet.flatness.wave_mm == 0


def _direction(sheet: Sheet) -> tuple[float, float]:
    angle = sheet.flatness.bow_rad
    return math.cos(angle), math.sin(angle)


def _half(sheet: Sheet) -> float:
    cosine, sine = _direction(sheet)
    return (abs(cosine) * sheet.width_mm + abs(sine) * sheet.height_mm) / 2


def meet(sheet: Sheet, origin: Doubles, directions: Doubles) -> Doubles:
    """Return where rays from one point above meet the sheet's plane or relief, (..., 3) mm.

    Rays that do not go down give NaN. The relief is met by a few steps of substitution,
    which is exact to 1e-6 mm for gentle slopes.
    """
    flat, (cosine, sine) = sheet.flatness, _direction(sheet)
    ways = np.ascontiguousarray(directions, float)
    points = np.empty(ways.shape)
    shape = (flat.bow_mm, flat.wave_mm, 2 * math.pi / flat.wave_length_mm, cosine, sine)
    size = (sheet.width_mm / 2, sheet.height_mm / 2, _half(sheet))
    at = (float(origin[0]), float(origin[1]), float(origin[2]))
    _meet(at, ways.reshape(-1, 3), *shape, *size, points.reshape(-1, 3))
    return points


@compiled
def _meet(
    origin: tuple[float, float, float],
    ways: Doubles,
    bow: float,
    wave: float,
    turn: float,
    cosine: float,
    sine: float,
    half_width: float,
    half_height: float,
    half: float,
    points: Doubles,
) -> None:
    """Write where rays (n, 3) from one point meet the relief that `height` describes."""
    ox, oy, oz = origin
    for i in range(ways.shape[0]):
        x, y, z = ways[i, 0], ways[i, 1], ways[i, 2]
        if not z < -1e-9:
            points[i, 0] = points[i, 1] = points[i, 2] = np.nan
            continue
        way = -oz / z
        for _ in range(12 if bow != 0 or wave != 0 else 0):
            # beyond the sheet the parabola goes on for ever, and grazing rays would chase it
            px = min(max(ox + way * x, -half_width), half_width)
            py = min(max(oy + way * y, -half_height), half_height)
            along = cosine * px + sine * py
            level = bow * (1 - (along / half) ** 2)
            slope = -2 * bow * along / (half * half)
            if wave != 0:
                level += wave * math.sin(turn * along)
                slope += wave * turn * math.cos(turn * along)
            rise = (
                slope * (cosine * x + sine * y)
                if px == ox + way * x and py == oy + way * y
                else 0.0
            )
            # Newton's step, or plain substitution where the ray nearly grazes the slope
            fall = z - rise if z - rise < 0.5 * z else z
            before, way = way, way + (level - oz - way * z) / fall
            if abs(way - before) < 1e-10:
                break
        points[i, 0], points[i, 1], points[i, 2] = ox + way * x, oy + way * y, oz + way * z
