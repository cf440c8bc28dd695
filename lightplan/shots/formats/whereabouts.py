"""Where a photograph was taken, blanked in a copy of its file.

A phone writes its place into each picture: as a directory of EXIF data (CIPA DC-008, section
4.6.6: tag 0x8825), and sometimes as text beside it (XMP, ISO 16684-1). Both are overwritten where
they lie, so that the file keeps its length, its picture and all else that it says.
"""

from __future__ import annotations

import re
import struct
import zlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

GPS = 0x8825
_LAST_GPS_TAG = 0x1F  # CIPA DC-008-2019: GPSHPositioningError
_MOST_ENTRIES = 500
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8, 13: 4}
_VERSION = struct.pack("BBBB", 2, 3, 0, 0)  # GPSVersionID, the one entry that stays
_STARTS = re.compile(rb"II\*\0|MM\0\*")
_XMP = (
    re.compile(rb'exif:GPS\w+\s*=\s*"([^"]*)"'),
    re.compile(rb"exif:GPS\w+\s*=\s*'([^']*)'"),
    re.compile(rb"<exif:GPS\w+[^>]*>([^<]*)<"),
)
_PNG = b"\x89PNG\r\n\x1a\n"


def without_place(data: bytes) -> bytes:
    """Return a photograph's file in which no place is told.

    Parameters
    ----------
    data : bytes
        A JPEG, PNG, TIFF, HEIC or camera raw file; anything else comes back as it is.

    Returns
    -------
    bytes
        As long as `data`.
    """
    changed = bytearray(data)
    for found in _STARTS.finditer(data):
        for entries in _places(data, found.start()):
            _blank(changed, data, found.start(), entries)
    for pattern in _XMP:
        for said in pattern.finditer(data):
            changed[said.start(1) : said.end(1)] = b" " * len(said[1])
    if data.startswith(_PNG) and changed != data:
        _sum_anew(changed)
    return bytes(changed)


def _places(data: bytes, base: int) -> Iterator[int]:
    """Yield where directories of a place begin in the structure that begins at `base`."""
    if base + 8 > len(data):
        return
    order = _order(data, base)
    entries = _directory(data, base, order, struct.unpack_from(order + "I", data, base + 4)[0])
    if entries and all(number <= _LAST_GPS_TAG for number, *_ in entries):
        yield entries[0][3] - base - 2  # a raw file may keep it as a structure of its own
    for number, _, length, at in entries:
        (offset,) = struct.unpack_from(order + "I", data, at + 8)
        if number == GPS and length == 1 and _directory(data, base, order, offset):
            yield offset


def _order(data: bytes, base: int) -> str:
    return "<" if data[base : base + 2] == b"II" else ">"


def _directory(data: bytes, base: int, order: str, offset: int) -> list[tuple[int, int, int, int]]:
    """Return number, kind, length and place of each entry; none where there is no directory."""
    start = base + offset
    if offset < 8 or start + 2 > len(data):
        return []
    (count,) = struct.unpack_from(order + "H", data, start)
    if not 0 < count <= _MOST_ENTRIES or start + 2 + 12 * count > len(data):
        return []
    places = (start + 2 + 12 * i for i in range(count))
    found = [(*struct.unpack_from(order + "HHI", data, at), at) for at in places]
    return found if all(kind in _SIZES for _, kind, *_ in found) else []


def _blank(changed: bytearray, data: bytes, base: int, offset: int) -> None:
    """Overwrite a directory of a place, and what it points at, by one that says nothing."""
    order = _order(data, base)
    entries = _directory(data, base, order, offset)
    for _, kind, length, at in entries:
        size = _SIZES[kind] * length
        (value,) = struct.unpack_from(order + "I", data, at + 8)
        if size > 4 and base + value + size <= len(data):
            changed[base + value : base + value + size] = bytes(size)
        changed[at : at + 12] = bytes(12)
    struct.pack_into(order + "HHHI4s", changed, base + offset, 1, 0, 1, 4, _VERSION)


def _sum_anew(changed: bytearray) -> None:
    """Write the check sums of a PNG's chunks for what stands in them now."""
    at = len(_PNG)
    while at + 12 <= len(changed):
        (length,) = struct.unpack_from(">I", changed, at)
        end = at + 8 + length
        if end + 4 > len(changed):
            return
        struct.pack_into(">I", changed, end, zlib.crc32(changed[at + 4 : end]))
        at = end + 4
