"""Two photographs of one sheet laid over each other, to a fraction of a pixel."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import cv2
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Singles
    from lightplan.measures import SheetMaps

_ROUNDS, _CLOSE = 30, 1e-5  # of the alignment (Evangelidis and Psarakis 2008, as OpenCV has it)
_SMOOTH_PX = 5
_MOST_PX = 6.0
"""Of a picture 1000 pixels long: what the search finds beyond that is foil that looks alike a
step farther, not a corner that was mistaken."""
_FLOOR = 2.0**-8


def alike(before: SheetMaps, after: SheetMaps) -> tuple[SheetMaps, SheetMaps]:
    """Return both with the same shape, mask and valid pixels, the later laid over the earlier.

    The corners of a sheet are known to some tenths of a pixel; between frames that is enough to
    make thin foil look brighter or darker.
    """
    rows, cols = before.foil.shape
    if after.foil.shape != (rows, cols):
        after = _resized(after, rows, cols)
    way = _between(before.linear, after.linear)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP

    def laid(picture: Singles) -> Singles:
        over = cv2.warpPerspective(picture, way, (cols, rows), flags=flags)
        return np.asarray(over, np.float32)

    inside = laid(after.valid.astype(np.float32)) > 0.999
    clipped = laid(after.clipped.astype(np.float32)) > 0.0
    foil = np.clip((before.foil + laid(after.foil)) / 2, 0, 1).astype(np.float32)
    valid = before.valid & inside
    linear = np.maximum(laid(after.linear), 0)
    later = replace(after, linear=linear, clipped=clipped, foil=foil, valid=valid)
    return replace(before, foil=foil, valid=valid), later


def _between(before: Singles, after: Singles) -> NDArray[np.float32]:
    """Return the projection from places before to places after."""
    way = np.eye(3, dtype=np.float32)
    ends = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, _ROUNDS, _CLOSE)
    grey = [
        np.log2(np.maximum(m.mean(axis=-1), 0) + _FLOOR).astype(np.float32) for m in (before, after)
    ]
    whole = np.full(before.shape[:2], 255, np.uint8)
    try:
        _, found = cv2.findTransformECC(
            grey[0], grey[1], way.copy(), cv2.MOTION_HOMOGRAPHY, ends, whole, _SMOOTH_PX
        )
    except cv2.error:  # nothing to hold on to: the corners must do
        return way
    moved = np.asarray(found, np.float32)
    return moved if _is_near(moved, before.shape) else way


def _is_near(way: NDArray[np.float32], shape: tuple[int, ...]) -> bool:
    """Whether a projection moves no corner farther than corners are mistaken."""
    rows, cols = shape[:2]
    corners = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], np.float32)[None]
    moved = cv2.perspectiveTransform(corners, way)
    return bool(np.abs(moved - corners).max() <= _MOST_PX * max(rows, cols) / 1000)


def _resized(maps: SheetMaps, rows: int, cols: int) -> SheetMaps:
    def sized(picture: Singles) -> Singles:
        return np.asarray(
            cv2.resize(picture, (cols, rows), interpolation=cv2.INTER_AREA), np.float32
        )

    return replace(
        maps,
        linear=sized(maps.linear),
        foil=np.clip(sized(maps.foil), 0, 1),
        valid=sized(maps.valid.astype(np.float32)) > 0.999,
        clipped=sized(maps.clipped.astype(np.float32)) > 0.0,
    )
