"""Camera raw through LibRaw: linear light, clipping read off the sensor's own values."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.shots.formats import tags, transfer
from lightplan.shots.formats.decoded import BROKEN, Decoded, Limits, broken, split_alpha

if TYPE_CHECKING:
    from lightplan.arrays import Booleans
    from lightplan.shots.shot import ShotSettings

# fmt: off
SUFFIXES = frozenset({
    ".3fr", ".arw", ".cr2", ".cr3", ".dng", ".erf", ".iiq", ".kdc", ".mef", ".mos", ".mrw", ".nef",
    ".nrw", ".orf", ".pef", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw", ".x3f",
})
# fmt: on


def decode(data: bytes, limits: Limits) -> Decoded:
    """Return a raw file's picture: camera white balance, sRGB primaries, no tone curve.

    A channel is clipped where its sensor value reached the white level, told before
    white balance and colour conversion. Each 2 x 2 cell of the colour filter becomes
    one pixel (`reduction` 2) where that leaves enough pixels.

    Raises
    ------
    PhotoError
        Broken, cut short, too large, or only a preview.
    """
    import rawpy  # 40 ms to load

    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            sizes = raw.sizes
            limits.check(sizes.height, sizes.width)
            half = limits.reduction(sizes.height, sizes.width, 2) == 2
            pixels = raw.postprocess(
                gamma=(1, 1),
                no_auto_bright=True,
                use_camera_wb=True,
                output_bps=16,
                half_size=half,
                user_flip=0,
                output_color=rawpy.ColorSpace.sRGB,
            )
            mask = _clipped(raw, pixels.shape)
            settings = _settings(raw, data)
            bits = max(8, int(raw.white_level).bit_length())
            flip = int(sizes.flip)
    except (rawpy.LibRawError, *BROKEN):
        raise broken("damaged raw data, or only a preview") from None
    colour, _ = split_alpha(np.ascontiguousarray(pixels), blue_first=False)
    return Decoded(
        format="raw",
        encoded=colour,
        transfer=transfer.straight(),
        clip_at=65535,
        clip_mask=mask,
        reduction=2 if half else 1,
        bits=bits,
        file_rows=int(sizes.height),
        file_cols=int(sizes.width),
        settings=replace(settings, orientation={3: 3, 5: 8, 6: 6}.get(flip, 1)),
    )


def _clipped(raw: Any, shape: tuple[int, ...]) -> Booleans:
    """Return clipped channels (rows, cols, 3) of the demosaicked picture.

    A pixel's channel is clipped where a sensor element of that colour within the filter
    cell round it reached the white level.
    """
    rows, cols = shape[:2]
    if raw.raw_type.value != 0:  # not a mosaic: no elements to look at
        return np.zeros((rows, cols, 3), bool)
    values, colours = raw.raw_image_visible, raw.raw_colors_visible
    letters = raw.color_desc.decode("ascii")
    limits = raw.camera_white_level_per_channel
    level = int(raw.white_level) if not limits or min(limits) <= 0 else int(min(limits))
    full = values >= level
    mask = np.zeros((rows, cols, 3), bool)
    for channel, letter in enumerate("RGB"):
        wanted = [i for i, name in enumerate(letters) if name == letter]
        chosen = full & np.isin(colours, wanted) if shape[2] == 3 else full  # or a grey sensor
        spread = cv2.dilate(chosen.astype(np.uint8), np.ones((3, 3), np.uint8))
        small = cv2.resize(spread, (cols, rows), interpolation=cv2.INTER_NEAREST)
        mask[..., channel] = small > 0
    return mask


def _settings(raw: Any, data: bytes) -> ShotSettings:
    """Return settings from the file's own directory, else from what LibRaw found."""
    settings, _ = tags.read_settings(data)
    if settings.f_number is not None or settings.time_s is not None:
        return settings
    other = getattr(raw, "other", None)  # absent in older rawpy
    if other is None:
        return settings
    return tags.from_tags(
        {
            tags.F_NUMBER: (float(other.aperture),),
            tags.TIME: (float(other.shutter_speed),),
            tags.ISO: (float(other.iso_speed),),
            tags.FOCAL: (float(other.focal_length),),
        }
    )
