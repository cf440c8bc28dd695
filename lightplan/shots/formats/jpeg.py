"""JPEG: a walk over the markers for size, profile and EXIF, and a strict decode.

Most decoders replace missing or damaged data by flat grey and say nothing. libjpeg does tell
its caller, and simplejpeg hands that on: whatever libjpeg warns of is refused here. So is a
picture that shows a damage of which no code tells (`slipped`).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import simplejpeg

from lightplan.errors import PhotoError
from lightplan.shots.formats import icc, tags, transfer
from lightplan.shots.formats.decoded import Decoded, Limits, broken, cut_short, unsupported
from lightplan.shots.formats.managed import to_srgb_8bit
from lightplan.shots.formats.slipped import shows_a_slip

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.shot import ShotSettings

# Codes from here up count as clipped: quantisation moves a stored 255 by one or two.
JPEG_CLIP = 254
_END = b"\xff\xd9"
_STANDALONE = {0x01, *range(0xD0, 0xD9)}
_FRAMES = {*range(0xC0, 0xD0)} - {0xC4, 0xC8, 0xCC}
_DECODABLE = {0xC0, 0xC1, 0xC2}
_CUT = "premature end"
"""What libjpeg says where data are missing (jerror.h: JWRN_HIT_MARKER, JWRN_JPEG_EOF)."""


@dataclass
class _Header:
    """What the markers before the picture data say."""

    rows: int = 0
    cols: int = 0
    channels: int = 0
    block_px: tuple[int, int] = (8, 8)
    """Rows and columns that are coded together, and one after the other."""
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
    pixels = _pixels(data, header, factor)
    return Decoded(
        format="JPEG",
        encoded=pixels,
        transfer=way,
        clip_at=JPEG_CLIP,
        lossy=True,
        file_rows=header.rows,
        file_cols=header.cols,
        reduction=factor,
        settings=settings,
    )


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
        factors = body[7 : 6 + 3 * header.channels : 3] if header.channels > 1 else b"\x11"
        if not factors or 0 in [part for f in factors for part in (f >> 4, f & 15)]:
            raise broken("a JPEG whose colours have no size")
        header.block_px = 8 * max(f & 15 for f in factors), 8 * max(f >> 4 for f in factors)
    elif marker == 0xE1 and body.startswith(b"Exif\0\0") and not header.exif:
        header.exif = body[6:]
    elif marker == 0xE2 and body.startswith(b"ICC_PROFILE\0") and len(body) > 14:
        header.profile_parts[body[12]] = body[14:]


def _is_direct(profile: icc.Profile, channels: int) -> bool:
    return profile.is_matrix if channels == 3 else profile.space == "GRAY"


def _pixels(data: bytes, header: _Header, factor: int) -> NDArray[np.uint8]:
    """Return the picture (rows, cols, 3), red first, at 1 / `factor` of its size."""
    try:
        pixels = simplejpeg.decode_jpeg(
            data, "RGB", min_height=-(-header.rows // factor), min_width=-(-header.cols // factor)
        )
    except ValueError as error:
        if _CUT in str(error).lower():
            raise cut_short("a picture whose lower part is missing") from None
        raise broken("damaged picture data") from None
    tall, wide = header.block_px
    if shows_a_slip(pixels, (max(1, tall // factor), max(1, wide // factor))):
        raise broken("damaged picture data")
    return np.asarray(pixels, np.uint8)


def _decode_managed(data: bytes, header: _Header, settings: ShotSettings) -> Decoded:
    """Decode CMYK and table profiles through the colour manager, in 8 bits."""
    pixels, clip_mask = to_srgb_8bit(data, JPEG_CLIP)
    done = Decoded(
        format="JPEG",
        encoded=pixels,
        transfer=replace(transfer.srgb(256), name="converted"),
        clip_at=JPEG_CLIP,
        clip_mask=clip_mask,
        lossy=True,
        settings=settings,
        file_rows=header.rows,
        file_cols=header.cols,
    )
    if pixels.shape[:2] != (header.rows, header.cols):
        raise PhotoError(
            field="picture size",
            wanted=f"{header.cols} x {header.rows} pixels",
            got=f"{pixels.shape[1]} x {pixels.shape[0]}",
            cure="export the photograph again",
        )
    return done
