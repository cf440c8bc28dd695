"""The sheet as it lies: height and normals where it is bowed or wavy."""

from __future__ import annotations

import math

import numpy as np

from lightplan.arrays import Doubles, Floats
from lightplan.scene.sheet import Sheet


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
    down = np.where(directions[..., 2] < -1e-9, directions[..., 2], np.nan)
    level = np.zeros(directions.shape[:-1])
    points = origin + ((level - origin[2]) / down)[..., None] * directions
    if is_flat(sheet):
        return np.asarray(points)
    for _ in range(12):
        # beyond the sheet the parabola goes on for ever, and grazing rays would chase it
        x = np.clip(points[..., 0], -sheet.width_mm / 2, sheet.width_mm / 2)
        y = np.clip(points[..., 1], -sheet.height_mm / 2, sheet.height_mm / 2)
        level = height(sheet, x, y)
        points = origin + ((level - origin[2]) / down)[..., None] * directions
    return np.asarray(points)
