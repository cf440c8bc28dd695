"""Small perceptual copies of a picture, in which edges are looked for."""

from __future__ import annotations

from typing import Any, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

Picture: TypeAlias = NDArray[Any]  # (rows, cols) or (rows, cols, channels)
Coded: TypeAlias = NDArray[Any]  # (rows, cols, 3), uint8 or float32, 0 to 255


def preview(picture: NDArray[Any], long_side: int) -> tuple[Coded, float]:
    """Return a reduced copy coded about as the eye sees, and its scale.

    Equal steps of the copy look about equally large (the square root of light is
    near enough), so that one threshold serves shadows and highlights.

    Parameters
    ----------
    picture : (rows, cols, 3) or (rows, cols) uint8 (coded) or float (linear, 1 = clip)
    long_side : int
        Pixels of the longer side; the picture is never enlarged.

    Returns
    -------
    coded : (r, c, 3) uint8 or float32
        0 to 255; a float picture stays one, so that faint steps survive.
    scale : float
        Pixels of the copy per pixel of the picture.
    """
    rows, cols = picture.shape[:2]
    scale = min(1.0, long_side / max(rows, cols))
    small = picture
    if scale < 1:
        size = (max(1, round(cols * scale)), max(1, round(rows * scale)))
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    if small.dtype != np.uint8:
        small = 255 * np.sqrt(np.clip(small, 0.0, 1.0)).astype(np.float32)
    if small.ndim == 2:
        small = np.repeat(small[..., None], 3, axis=2)
    return np.ascontiguousarray(small[..., :3]), scale


def in_light(coded: Coded) -> Coded:
    """Return a coded copy in proportion to light, 0 to 255, float32.

    A blurred edge lies where the light is half-way; in a coded copy it seems to lie
    further into the dark.
    """
    if coded.dtype == np.uint8:
        return np.asarray(cv2.LUT(coded, _LIGHT))
    return np.asarray(coded * coded / 255)


# Near enough to every usual coding: half-way between sRGB and a plain power of 2.2.
_LIGHT = (255 * (np.arange(256) / 255) ** 2.2).astype(np.float32)


def luma(coded: Coded) -> NDArray[np.uint8]:
    """Return the brightness as 8-bit grey, (rows, cols)."""
    grey = coded if coded.dtype == np.uint8 else cv2.convertScaleAbs(coded)
    return np.asarray(cv2.cvtColor(grey, cv2.COLOR_RGB2GRAY), np.uint8)


def amplified(coded: Coded) -> list[Picture]:
    """Return grey pictures in which faint edges of brightness and colour stand out."""
    smooth = cv2.GaussianBlur(coded.astype(np.float32), (0, 0), 1.2)
    stretch = cv2.createCLAHE(clipLimit=12.0, tileGridSize=(6, 6))
    # In the second one fine grain is gone and broad edges are left.
    pictures: list[Picture] = [
        stretch.apply(luma(smooth)),
        stretch.apply(luma(cv2.blur(smooth, (9, 9)))),
    ]
    for plane in cv2.split(cv2.transform(smooth, np.array(_OPPONENT, np.float32))):
        middle = float(np.median(plane))
        spread = max(4.0, float(np.percentile(np.abs(plane - middle), 95)))
        pictures.append(np.clip(128 + 100 * (plane - middle) / spread, 0, 255).astype(np.uint8))
    return pictures


_OPPONENT = ((1.0, -1.0, 0.0), (-0.5, -0.5, 1.0))  # red against green, blue against both
