"""TIFF, 8 or 16 bits a channel or floating point, with the clip level exact."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.shots.formats import icc, tags, transfer
from lightplan.shots.formats.decoded import (
    Decoded,
    Limits,
    broken,
    cut_short,
    decode_with_opencv,
    split_alpha,
    unsupported,
)
from lightplan.shots.formats.managed import open_picture, to_srgb_8bit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans

COLS, ROWS, BITS, PHOTOMETRIC, SAMPLES = 0x100, 0x101, 0x102, 0x106, 0x115
OFFSETS, SIZES, TILE_OFFSETS, TILE_SIZES = 0x111, 0x117, 0x144, 0x145
FORMAT, PROFILE, DNG_VERSION = 0x153, 0x8773, 0xC612
_WANTED = {COLS, ROWS, BITS, PHOTOMETRIC, SAMPLES, OFFSETS, SIZES, TILE_OFFSETS, TILE_SIZES, FORMAT}
_GREY_INVERTED, _GREY, _RGB, _SEPARATED = 0, 1, 2, 5
_FLOAT = 3


def decode(data: bytes, limits: Limits) -> Decoded:
    """Return the first picture of a TIFF file.

    Floating-point pictures count as linear light that clips at 1.

    Raises
    ------
    PhotoError
        Broken, cut short, too large, or of a kind no camera writes.
    """
    header = tags.read_directory(data, None, _WANTED)
    rows, cols = (int(header.get(k, (0,))[0]) for k in (ROWS, COLS))
    limits.check(rows, cols)
    _check_complete(header, len(data))
    bits = max(header.get(BITS, (1,)))
    settings, adobe = tags.read_settings(data)
    data = tags.without_orientation(data)  # some decoders turn by it unasked, some fail
    pixels, opaque, managed = _pixels(data, header, bits)
    if pixels.shape[:2] != (rows, cols):
        raise broken("a picture of another size than its header says")
    count = 256 if pixels.dtype == np.uint8 else 65536
    done = Decoded(
        format="TIFF",
        encoded=pixels,
        transfer=transfer.srgb(count),
        clip_at=count - 1,
        opaque=opaque,
        bits=bits,
        file_rows=rows,
        file_cols=cols,
        settings=settings,
    )
    if pixels.dtype == np.float32:
        return replace(done, transfer=transfer.straight(), clip_at=1.0)
    if managed is not None:
        return replace(done, clip_mask=managed, bits=8)
    return _with_profile(data, done, count, adobe=adobe)


def _check_complete(header: tags.Tags, size: int) -> None:
    """Refuse a file whose strips or tiles lie beyond its end."""
    for where, long in ((OFFSETS, SIZES), (TILE_OFFSETS, TILE_SIZES)):
        if where in header and long in header:
            ends = [a + b for a, b in zip(header[where], header[long], strict=False)]
            if max(ends) > size:
                raise cut_short(f"{size} of {max(ends)} bytes")
            return
    raise broken("a TIFF without picture data")


def _pixels(
    data: bytes, header: tags.Tags, bits: int
) -> tuple[NDArray[Any], Booleans | None, Booleans | None]:
    """Return pixels, opaque mask, and the clip mask of those that had to be converted."""
    kind = header.get(PHOTOMETRIC, (_RGB,))[0]
    is_float = header.get(FORMAT, (1,))[0] == _FLOAT
    if bits == 16 or (is_float and bits == 32):
        if kind not in (_GREY, _RGB):
            raise unsupported(f"a {bits}-bit TIFF of colour type {kind}", "export it as RGB")
        pixels = decode_with_opencv(data, cv2.IMREAD_UNCHANGED)
        if pixels is None or pixels.dtype != (np.float32 if is_float else np.uint16):
            raise broken("damaged picture data")
        if is_float and not np.isfinite(pixels).all():
            raise broken("pixels that are not numbers")
        colour, opaque = split_alpha(pixels, blue_first=True)
        return colour, opaque, None
    if bits > 8:
        raise unsupported(f"a {bits}-bit TIFF", "export it with 8 or 16 bits")
    if kind == _SEPARATED:
        pixels, mask = to_srgb_8bit(data, 255)
        return pixels, None, mask
    picture = open_picture(data)
    has_alpha = picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info
    if picture.mode != "L":
        picture = picture.convert("RGBA" if has_alpha else "RGB")
    colour, opaque = split_alpha(np.array(picture), blue_first=False)
    return colour, opaque, None


def _with_profile(data: bytes, done: Decoded, count: int, *, adobe: bool) -> Decoded:
    raw = tags.read_bytes(data, PROFILE)
    if raw is None:
        return replace(done, transfer=icc.adobe_rgb(count)) if adobe else done
    profile = icc.parse(raw)
    if profile.is_matrix or profile.space == "GRAY":
        return replace(done, transfer=profile.transfer(count))
    pixels, mask = to_srgb_8bit(data, 255, profile=raw)
    way = replace(transfer.srgb(256), name="converted")
    return replace(done, encoded=pixels, transfer=way, clip_at=255, clip_mask=mask, bits=8)
