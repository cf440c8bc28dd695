"""The predicted picture as a PNG file: sRGB, 8 bits, the same bytes for the same picture."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, PngImagePlugin

from lightplan.errors import BadInput
from lightplan.optics.colour import luminance_factor, srgb_encode

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Floats
    from lightplan.scene import Camera

SRGB_RENDERING_INTENT = b"\x01"  # relative colorimetric (PNG specification, sRGB chunk)
SRGB_GAMMA = (45455).to_bytes(4, "big")  # for readers that know no sRGB chunk; same source
COMPRESSION = 6


def picture_size(camera: Camera, long_side: int) -> tuple[int, int]:
    """Return (rows, columns) of a picture with the shape of the camera's own sensor.

    >>> from lightplan.scene import Camera, Placement
    >>> picture_size(Camera(placement=Placement((0, 0, 500))), 720)
    (478, 720)
    """
    wide, high = camera.sensor_width_mm, camera.sensor_height_mm
    scale = long_side / max(wide, high)
    return max(2, round(high * scale)), max(2, round(wide * scale))


def picture_png(linear: Floats) -> bytes:
    """Return a linear picture as the bytes of a PNG file.

    Levels above the clip level are cut channel by channel, as a camera cuts them; colours
    outside sRGB are drawn towards the grey of their own luminance until they fit.

    Parameters
    ----------
    linear : (rows, cols, 3) float
        Linear sRGB, 1.0 = clip level; may exceed 1. No NaN.

    Returns
    -------
    bytes
        8-bit sRGB with the sRGB chunk and nothing else told.
    """
    return codes_png(picture_codes(linear))


def picture_codes(linear: Floats) -> NDArray[np.uint8]:
    """Return the 8-bit sRGB codes of a linear picture, (rows, cols, 3)."""
    levels = np.asarray(linear)
    if levels.ndim != 3 or levels.shape[2] != 3 or not np.isfinite(levels).all():
        raise BadInput(
            field="picture",
            wanted="finite levels of rows x columns x 3",
            got=f"shape {levels.shape}",
            cure="fill what lies off the sheet first",
        )
    encoded = srgb_encode(np.minimum(_into_gamut(levels.astype(np.float32)), 1.0))
    return np.asarray(np.floor(encoded * 255.0 + 0.5), np.uint8)


def codes_png(codes: NDArray[np.uint8]) -> bytes:
    """Return 8-bit sRGB codes, (rows, cols, 3), as the bytes of a PNG file."""
    told = PngImagePlugin.PngInfo()
    told.add(b"sRGB", SRGB_RENDERING_INTENT)
    told.add(b"gAMA", SRGB_GAMMA)
    file = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(codes))
    image.save(file, "PNG", pnginfo=told, compress_level=COMPRESSION)
    return file.getvalue()


def _into_gamut(linear: Floats) -> Floats:
    """Mix grey of the same luminance into pixels with a channel below 0 until it is 0."""
    lowest = linear.min(axis=-1)
    if float(lowest.min(initial=0.0)) >= 0.0:
        return linear
    grey = np.maximum(luminance_factor(linear), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(lowest < 0, lowest / (lowest - grey), 0.0)[..., None]
    return np.maximum(linear + share * (grey[..., None] - linear), 0.0)


def exposure_time(time_s: float) -> str:
    """Return an exposure time as cameras show it.

    >>> exposure_time(0.008), exposure_time(0.4), exposure_time(2.0), exposure_time(0.3)
    ('1/125 s', '0.4 s', '2 s', '0.3 s')
    """
    if time_s >= 0.29:
        return f"{time_s:.2g} s" if time_s < 10 else f"{time_s:.0f} s"
    parts = 1 / time_s
    step = 10 ** max(0, math.floor(math.log10(parts)) - 1)
    whole = round(parts) if parts < 1000 else round(parts / step) * step
    return f"1/{whole:.0f} s"
