"""JPEG: a walk over the markers, a fast decode, and a test for missing data.

Decoders replace missing data of a JPEG by flat grey and say nothing, so the end marker
is looked for first, and a picture that ends in one flat grey is decoded once more with
more data appended: if that changes it, the data had run out.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field, replace
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

from lightplan.errors import PhotoError
from lightplan.shots.formats import icc, tags, transfer
from lightplan.shots.formats.decoded import (
    Decoded,
    Limits,
    broken,
    cut_short,
    decode_with_opencv,
    unsupported,
)
from lightplan.shots.formats.managed import to_srgb_8bit
from lightplan.shots.shot import Settings

# Codes from here up count as clipped: quantisation moves a stored 255 by one or two.
JPEG_CLIP = 254
_END = b"\xff\xd9"
_STANDALONE = {0x01, *range(0xD0, 0xD9)}
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
_DECODABLE = {0xC0, 0xC1, 0xC2}
_REDUCED = {
    1: cv2.IMREAD_COLOR, 2: cv2.IMREAD_REDUCED_COLOR_2,
    4: cv2.IMREAD_REDUCED_COLOR_4, 8: cv2.IMREAD_REDUCED_COLOR_8,
}  # fmt: skip
_RGB = getattr(cv2, "IMREAD_COLOR_RGB", 0)


@dataclass
class _Header:
    """What the markers before the picture data say."""

    rows: int = 0
    cols: int = 0
    channels: int = 0
    scan_start: int = 0
    exif: bytes = b""
    profile_parts: dict[int, bytes] = field(default_factory=dict)


def decode(data: bytes, limits: Limits) -> Decoded:
    """Return the picture of a JPEG file.

    Raises
    ------
    PhotoError
        Broken, cut short, too large, or of a kind no camera writes.
    """
    header = _walk(data)
    limits.check(header.rows, header.cols)
    if data.rfind(_END) < header.scan_start:
        raise cut_short(f"{len(data)} bytes without an end mark")
    settings, adobe = tags.read_settings(header.exif)
    raw_profile = b"".join(part for _, part in sorted(header.profile_parts.items()))
    profile = icc.parse(raw_profile) if raw_profile else None
    if header.channels == 4 or (profile is not None and not _is_direct(profile, header.channels)):
        return _decode_managed(data, header, settings)
    way = transfer.srgb(256)
    if profile is not None:
        way = profile.transfer(256)
    elif adobe:
        way = icc.adobe_rgb(256)
    factor = limits.reduction(header.rows, header.cols, 8)
    pixels = _pixels(data, factor)
    _check_complete(data, header.scan_start, pixels, factor)
    return Decoded(
        format="JPEG", encoded=pixels, transfer=way, clip_at=JPEG_CLIP, lossy=True,
        file_rows=header.rows, file_cols=header.cols, reduction=factor, settings=settings,
    )  # fmt: skip


def _walk(data: bytes) -> _Header:
    """Read the markers up to the first scan."""
    header, at = _Header(), 2
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 4 > len(data):
            raise cut_short(f"{len(data)} bytes that end in the header")
        marker = data[at + 1]
        if marker in (0x00, 0xFF) or marker in _STANDALONE:
            at += 1 if marker == 0xFF else 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        body = data[at + 4 : at + 2 + length]
        if length < 2 or len(body) < length - 2:
            raise cut_short(f"{len(data)} bytes that end in the header")
        _take(header, marker, body)
        at += 2 + length
        if marker == 0xDA:
            break
    if header.rows == 0:
        raise broken("a JPEG without a size")
    header.scan_start = at
    return header


def _take(header: _Header, marker: int, body: bytes) -> None:
    """Keep what one marker segment says."""
    if marker in _FRAMES:
        if marker not in _DECODABLE or len(body) < 6 or body[0] != 8:
            bits = body[0] if body else 0
            raise unsupported(
                f"a {bits}-bit JPEG of type {marker - 0xC0}", "export it as an ordinary JPEG"
            )
        header.rows, header.cols, header.channels = struct.unpack_from(">HHB", body, 1)
    elif marker == 0xE1 and body.startswith(b"Exif\0\0") and not header.exif:
        header.exif = body[6:]
    elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
        header.profile_parts[body[12]] = body[14:]


def _is_direct(profile: icc.Profile, channels: int) -> bool:
    return profile.is_matrix if channels == 3 else profile.space == "GRAY"


def _pixels(data: bytes, factor: int) -> NDArray[np.uint8]:
    if _decodes_red_first():
        return _pixels_as_decoded(data, _REDUCED[factor] - cv2.IMREAD_COLOR + _RGB)
    pixels = _pixels_as_decoded(data, _REDUCED[factor])
    return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_BGR2RGB, dst=pixels), np.uint8)


def _pixels_as_decoded(data: bytes, flags: int) -> NDArray[np.uint8]:
    pixels = decode_with_opencv(data, flags)
    if pixels is None:
        raise broken("JPEG data without a picture")
    return np.asarray(pixels, np.uint8)


@cache
def _decodes_red_first() -> bool:
    """Tell whether this OpenCV gives reduced pictures red first when asked to.

    It saves a pass over the picture, but is documented for whole pictures only: so it
    is tried once on a small red one.
    """
    if not _RGB:
        return False
    red = np.zeros((32, 32, 3), np.uint8)
    red[..., 2] = 255
    tiny = cv2.imencode(".jpg", red)[1].tobytes()
    for factor, flags in _REDUCED.items():
        seen = decode_with_opencv(tiny, flags - cv2.IMREAD_COLOR + _RGB)
        if seen is None or seen.shape != (32 // factor, 32 // factor, 3):
            return False
        if int(seen[..., 0].min()) < 200 or int(seen[..., 2].max()) > 60:
            return False
    return True


def _check_complete(data: bytes, scan_start: int, pixels: NDArray[np.uint8], factor: int) -> None:
    """Refuse a picture whose lower end is the decoder's filling, not the camera's.

    Only a picture that ends in flat rows costs a second decode.
    """
    last = pixels[-max(1, 8 // factor) :]
    if (last != last[0, 0]).any():
        return
    end = data.find(_END, scan_start)
    noise = np.random.default_rng(1).integers(0, 255, 1 << 16, np.uint8).tobytes()
    longer = data[:end] + noise + data[end:]
    if not np.array_equal(_pixels(longer, 8)[-1], _pixels(data, 8)[-1]):
        raise cut_short("a picture whose lower part is missing")


def _decode_managed(data: bytes, header: _Header, settings: Settings) -> Decoded:
    """Decode CMYK and table profiles through the colour manager, in 8 bits."""
    pixels, clip_mask = to_srgb_8bit(data, JPEG_CLIP)
    done = Decoded(
        format="JPEG", encoded=pixels, transfer=replace(transfer.srgb(256), name="converted"),
        clip_at=JPEG_CLIP, clip_mask=clip_mask, lossy=True, settings=settings,
        file_rows=header.rows, file_cols=header.cols,
    )  # fmt: skip
    if pixels.shape[:2] != (header.rows, header.cols):
        raise PhotoError(
            field="picture size", wanted=f"{header.cols} x {header.rows} pixels",
            got=f"{pixels.shape[1]} x {pixels.shape[0]}", cure="export the photograph again",
        )  # fmt: skip
    return done
