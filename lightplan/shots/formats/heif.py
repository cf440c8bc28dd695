"""HEIC and HEIF from phones, 8 to 12 bits, through libheif."""

from __future__ import annotations

import io
import struct
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.shots.formats import icc, tags, transfer
from lightplan.shots.formats.decoded import (
    BROKEN,
    Decoded,
    Limits,
    broken,
    cut_short,
    split_alpha,
    unsupported,
)
from lightplan.shots.shot import ShotSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.formats.transfer import Transfer

# Codes of ITU-T H.273.
_P3_PRIMARIES, _PQ, _HLG, _LINEAR = 12, 16, 18, 8


_EMPTY = bytes(4096)  # a block of a disk or card that was never written


def decode(data: bytes, limits: Limits) -> Decoded:
    """Return the main picture of a HEIF file.

    libheif turns the picture upright itself, so the EXIF orientation is not applied again.

    Raises
    ------
    PhotoError
        Broken, cut short, too large, or recorded for HDR screens.
    """
    import pillow_heif  # 60 ms to load, and most photographs are JPEG

    _check_boxes(data)
    if _EMPTY in data:  # packed pictures have no such stretch; decoders make grey of it
        raise broken("a stretch of zeros in place of data")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            picture = pillow_heif.open_heif(
                io.BytesIO(data), convert_hdr_to_8bit=False, remap_thumbnails=False
            )
            limits.check(picture.size[1], picture.size[0])
            pixels = np.array(picture)
    except BROKEN:
        raise broken("damaged HEIF data") from None
    info = picture.info
    settings = ShotSettings()
    exif = info.get("exif")
    if exif:
        settings, _ = tags.read_settings(exif[6:] if exif[:6] == b"Exif\0\0" else exif)
    colour, opaque = split_alpha(pixels, blue_first=False)
    count = 65536 if colour.dtype == np.uint16 else 256
    return Decoded(
        format="HEIF",
        encoded=colour,
        transfer=_transfer(info, count),
        opaque=opaque,
        clip_at=_clip(colour),
        bits=int(info.get("bit_depth", 8)),
        lossy=True,
        file_rows=colour.shape[0],
        file_cols=colour.shape[1],
        settings=replace(settings, orientation=1),
    )


def _clip(pixels: NDArray[Any]) -> int:
    """Return the code that clips: one 8-bit step below the top, as for JPEG."""
    top = int(np.iinfo(pixels.dtype).max)
    return top - (top + 1) // 256


def _check_boxes(data: bytes) -> None:
    """Refuse a file whose outer boxes (ISO/IEC 14496-12) end beyond it."""
    at = 0
    while at + 8 <= len(data):
        (size,) = struct.unpack_from(">I", data, at)
        if size == 1 and at + 16 <= len(data):
            (size,) = struct.unpack_from(">Q", data, at + 8)
        if size == 0:
            return
        if size < 8:
            raise broken("damaged HEIF boxes")
        if at + size > len(data):
            raise cut_short(f"{len(data)} of {at + size} bytes")
        at += size


def _transfer(info: dict[str, Any], count: int) -> Transfer:
    raw = info.get("icc_profile")
    if raw:
        profile = icc.parse(raw)
        if not (profile.is_matrix or profile.space == "GRAY"):
            raise unsupported("HEIF with a table profile", "export it as sRGB JPEG")
        return profile.transfer(count)
    nclx = info.get("nclx_profile")
    if nclx:
        curve = int(nclx.get("transfer_characteristics", 2))
        if curve in (_PQ, _HLG):
            raise unsupported("HEIF recorded for HDR screens", "switch HDR off in the camera")
        if int(nclx.get("color_primaries", 2)) == _P3_PRIMARIES:
            return icc.display_p3(count)
        if curve == _LINEAR:
            return transfer.power(count, 1.0, name="linear sRGB")
    return transfer.srgb(count)
