"""PNG: chunks are walked and their checksums tested, then the picture is decoded."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.shots.formats import icc, tags, transfer
from lightplan.shots.formats.decoded import (
    BROKEN,
    Decoded,
    Limits,
    broken,
    cut_short,
    decode_with_opencv,
    split_alpha,
)
from lightplan.shots.formats.managed import open_picture, to_srgb_8bit
from lightplan.shots.shot import ShotSettings

if TYPE_CHECKING:
    from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_PALETTE = 3
_SRGB_GAMMA = 45455  # 1/2.2 in PNG's units: written by programs that mean sRGB
_MOST_PROFILE = 8 << 20


@dataclass(frozen=True, kw_only=True)
class _PngHeader:
    """What the chunks say."""

    rows: int
    cols: int
    bits: int
    colour_type: int
    chunks: dict[bytes, bytes]


def decode(data: bytes, limits: Limits) -> Decoded:
    """Return the picture of a PNG file, 8 or 16 bits, with the clip level exact.

    Raises
    ------
    PhotoError
        Broken, cut short or too large.
    """
    header = _walk(data, limits)
    deep = header.bits == 16
    count = 65536 if deep else 256
    settings = ShotSettings()
    if b"eXIf" in header.chunks:
        settings, _ = tags.read_settings(header.chunks[b"eXIf"])
    pixels, opaque = split_alpha(_pixels(data, header), blue_first=True)
    if pixels.shape[:2] != (header.rows, header.cols):
        raise broken("a picture of another size than its header says")
    done = Decoded(
        format="PNG",
        encoded=pixels,
        transfer=transfer.srgb(count),
        clip_at=count - 1,
        opaque=opaque,
        bits=header.bits,
        file_rows=header.rows,
        file_cols=header.cols,
        settings=settings,
    )
    return _with_profile(data, header, done, count)


def _walk(data: bytes, limits: Limits) -> _PngHeader:
    """Check every chunk's length and checksum and keep those that describe the picture."""
    at, chunks, header = len(SIGNATURE), {}, None
    while True:
        if at + 12 > len(data):
            raise cut_short(f"{len(data)} bytes without an end mark")
        length, name = struct.unpack_from(">I4s", data, at)
        if at + 12 + length > len(data):
            raise cut_short(f"{len(data)} bytes that end inside the picture data")
        body = memoryview(data)[at + 8 : at + 8 + length]
        (checksum,) = struct.unpack_from(">I", data, at + 8 + length)
        if zlib.crc32(body, zlib.crc32(name)) != checksum:
            raise broken("damaged PNG data, its checksum is wrong")
        if header is None:
            header = _first(name, bytes(body))
            limits.check(header.rows, header.cols)
        if name in (b"iCCP", b"eXIf", b"sRGB", b"gAMA"):
            chunks[name] = bytes(body)
        at += 12 + length
        if name == b"IEND":
            return replace(header, chunks=chunks)


def _first(name: bytes, body: bytes) -> _PngHeader:
    if name != b"IHDR" or len(body) != 13:
        raise broken("a PNG without a header")
    cols, rows, bits, colour_type = struct.unpack_from(">IIBB", body)
    return _PngHeader(rows=rows, cols=cols, bits=bits, colour_type=colour_type, chunks={})


def _pixels(data: bytes, header: _PngHeader) -> NDArray[Any]:
    if header.colour_type == _PALETTE or header.bits < 8:
        picture = open_picture(data)
        pixels = np.array(picture.convert("RGBA"))
        return np.asarray(cv2.cvtColor(pixels, cv2.COLOR_RGBA2BGRA))
    decoded = decode_with_opencv(data, cv2.IMREAD_UNCHANGED)
    if decoded is None:
        raise broken("damaged picture data")
    wanted = np.uint16 if header.bits == 16 else np.uint8
    if decoded.dtype != wanted:
        raise broken("a PNG whose header and data disagree")
    return decoded


def _with_profile(data: bytes, header: _PngHeader, done: Decoded, count: int) -> Decoded:
    """Return the picture with the colour space the file names: iCCP, else sRGB, else gAMA."""
    chunks = header.chunks
    if b"iCCP" in chunks:
        raw = _inflate(chunks[b"iCCP"])
        profile = icc.parse(raw)
        if profile.is_matrix or profile.space == "GRAY":
            return replace(done, transfer=profile.transfer(count))
        pixels, mask = to_srgb_8bit(data, 255, profile=raw)
        way = replace(transfer.srgb(256), name="converted")
        return replace(done, encoded=pixels, transfer=way, clip_mask=mask, bits=8)
    if b"sRGB" not in chunks and len(chunks.get(b"gAMA", b"")) == 4:
        (gamma,) = struct.unpack(">I", chunks[b"gAMA"])
        if gamma > 0 and abs(gamma - _SRGB_GAMMA) > 500:
            exponent = min(max(100000 / gamma, 0.2), 5.0)
            return replace(done, transfer=transfer.power(count, exponent, name="own gamma"))
    return done


def _inflate(chunk: bytes) -> bytes:
    """Return the profile in an iCCP chunk: name, zero, method, compressed bytes."""
    try:
        start = chunk.index(b"\0") + 2
        machine = zlib.decompressobj()
        raw = machine.decompress(chunk[start:], _MOST_PROFILE)
    except BROKEN:
        raise broken("a damaged colour profile") from None
    return raw
