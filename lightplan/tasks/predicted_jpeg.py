"""Predicted pictures as the page shows them: whole, or cropped round the sheet to compare."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.light import Detail
from lightplan.light.exposure import camera_picture
from lightplan.light.keeper import layers_of
from lightplan.reports.picture import picture_codes, picture_size
from lightplan.reports.proof import crop_shape, cropped
from lightplan.scene.framing import framing

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.scene import Rig

QUALITY = 88
MOST_TIMES = 2.0
"""A phone's picture of a small tag is mostly table; drawing it finer than this costs more time
than the tag gains by it. Our choice."""


def whole_jpeg(rig: Rig, long_side: int) -> bytes:
    """Return a rig's predicted picture, `long_side` pixels long, as a camera frames it."""
    return jpeg_of(_drawn(rig, picture_size(rig.camera, long_side)))


def near_jpeg(rig: Rig, long_side: int) -> bytes:
    """Return a rig's predicted picture round its sheet; the frame would be `long_side` long."""
    return cropped_jpeg(_drawn(rig, near_size(rig, long_side)), rig)


def _drawn(rig: Rig, size: tuple[int, int]) -> NDArray[np.uint8]:
    layers = layers_of(rig, Detail.quick(camera_rows=size[0], camera_cols=size[1]))
    return picture_codes(camera_picture(rig, layers))


def cropped_jpeg(codes: NDArray[np.uint8], rig: Rig, quality: int = QUALITY) -> bytes:
    """Return the part round the sheet of a picture, (rows, cols, 3) sRGB codes, as a JPEG."""
    return jpeg_of(cropped(codes, rig.camera, rig.sheet, shape=crop_shape(rig.sheet)), quality)


def near_size(rig: Rig, long_side: int) -> tuple[int, int]:
    """Return rows and columns to draw, so that the part round a small sheet is fine enough too."""
    filled = framing(rig.camera, rig.sheet).filled  # without end where no camera sees it
    times = float(np.clip(1.0 / max(filled, 1e-3), 1.0, MOST_TIMES))
    return picture_size(rig.camera, round(times * long_side))


def jpeg_of(codes: NDArray[np.uint8], quality: int = QUALITY) -> bytes:
    """Return 8-bit sRGB codes as a JPEG that tells nothing else."""
    bgr = np.ascontiguousarray(codes[..., ::-1])
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
