"""The few tags of a TIFF directory that are wanted; all the others stay unread.

EXIF data, TIFF files and most camera raw files are the same structure: directories of
numbered entries (TIFF 6.0; CIPA DC-008 for the EXIF numbers). Only the numbers named here
are looked up, so a place, an owner or a serial number cannot reach any output.
"""

from __future__ import annotations

import math
import re
import struct
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from lightplan.shots.shot import ShotSettings

if TYPE_CHECKING:
    from collections.abc import Collection

ORIENTATION, EXIF, INTEROPERABILITY = 0x0112, 0x8769, 0xA005
TIME, F_NUMBER, ISO, TAKEN, BIAS = 0x829A, 0x829D, 0x8827, 0x9003, 0x9204
FOCAL, FOCAL_35, PLANE_X, PLANE_UNIT, WHITE = 0x920A, 0xA405, 0xA20E, 0xA210, 0xA403
INTEROPERABILITY_INDEX = 0x0001
_WANTED = {TIME, F_NUMBER, ISO, TAKEN, BIAS, FOCAL, FOCAL_35, PLANE_X, PLANE_UNIT, WHITE}
_FORMATS = {
    1: "B",
    2: "s",
    7: "s",
    3: "H",
    4: "I",
    5: "II",
    6: "b",
    8: "h",
    9: "i",
    10: "ii",
    12: "d",
}
_MM_PER_UNIT = {2: 25.4, 3: 10.0, 4: 1.0}
_MOST_ENTRIES, _MOST_VALUES, _MOST_BYTES = 1000, 1 << 20, 8 << 20

Tags = dict[int, tuple[Any, ...]]


def read_directory(
    data: bytes, offset: int | None, wanted: Collection[int], *, as_bytes: bool = False
) -> Tags:
    """Return the wanted entries of one directory; damaged ones are left out.

    Parameters
    ----------
    data : bytes
        A TIFF structure from its first byte.
    offset : int or None
        Where the directory starts; None for the first one.
    wanted : collection of int
        Tag numbers.
    as_bytes : bool
        Give text and undefined entries as they lie, not as ASCII.

    Returns
    -------
    dict of int to tuple
        Numbers (rationals as floats) or one string.
    """
    order = {b"II": "<", b"MM": ">"}.get(data[:2])
    if order is None or len(data) < 8:
        return {}
    start = struct.unpack_from(order + "I", data, 4)[0] if offset is None else offset
    if not 8 <= start <= len(data) - 2:
        return {}
    (count,) = struct.unpack_from(order + "H", data, start)
    found: Tags = {}
    for i in range(min(count, _MOST_ENTRIES)):
        at = start + 2 + 12 * i
        if at + 12 > len(data):
            break
        number, kind, length = struct.unpack_from(order + "HHI", data, at)
        if number in wanted and kind in _FORMATS and number not in found:
            values = _values(data, order, at + 8, _FORMATS[kind], length, as_bytes)
            if values is not None:
                found[number] = values
    return found


def read_bytes(data: bytes, number: int) -> bytes | None:
    """Return one entry of the first directory as bytes (a colour profile)."""
    found = read_directory(data, None, {number}, as_bytes=True).get(number)
    return None if found is None else bytes(found[0])


def without_orientation(data: bytes) -> bytes:
    """Return a TIFF file whose first directory says "upright"."""
    order = {b"II": "<", b"MM": ">"}.get(data[:2])
    if order is None or ORIENTATION not in read_directory(data, None, {ORIENTATION}):
        return data
    (start,) = struct.unpack_from(order + "I", data, 4)
    changed = bytearray(data)
    for at in range(start + 2, len(data) - 11, 12):
        if struct.unpack_from(order + "H", data, at)[0] == ORIENTATION:
            struct.pack_into(order + "HIHH", changed, at + 2, 3, 1, 1, 0)
            break
    return bytes(changed)


def _values(
    data: bytes, order: str, at: int, form: str, length: int, as_bytes: bool
) -> tuple[Any, ...] | None:
    size = struct.calcsize("=" + form) * length
    if length == 0 or length > (_MOST_BYTES if form == "s" else _MOST_VALUES):
        return None
    if size > 4:
        (at,) = struct.unpack_from(order + "I", data, at)
    if at + size > len(data):
        return None
    if form == "s":
        if as_bytes:
            return (data[at : at + length],)
        text = data[at : at + length].split(b"\0")[0]
        return (text.decode("ascii", "replace").strip(),)
    numbers = struct.unpack_from(f"{order}{length * len(form)}{form[0]}", data, at)
    if len(form) == 1:
        return numbers
    pairs = zip(numbers[::2], numbers[1::2], strict=True)
    return tuple(a / b if b else math.nan for a, b in pairs)


def read_settings(data: bytes) -> tuple[ShotSettings, bool]:
    """Return the exposure data of an EXIF block, and whether it announces Adobe RGB.

    Cameras set to Adobe RGB often embed no profile; the interoperability index "R03"
    (DCF 2.0) is then the only sign.
    """
    top = read_directory(data, None, {ORIENTATION, EXIF, *_WANTED})
    inner: Tags = {}
    if EXIF in top:
        inner = read_directory(data, _whole(top, EXIF, 0), {*_WANTED, INTEROPERABILITY})
    both = {**{k: v for k, v in top.items() if k in _WANTED}, **inner}
    settings = replace(from_tags(both), orientation=_orientation(top))
    adobe = False
    if INTEROPERABILITY in inner:
        third = read_directory(data, _whole(inner, INTEROPERABILITY, 0), {INTEROPERABILITY_INDEX})
        adobe = third.get(INTEROPERABILITY_INDEX) == ("R03",)
    return settings, adobe


def from_tags(tags: Tags) -> ShotSettings:
    """Return settings from entries of an EXIF directory; nonsense becomes None."""
    per_unit = _MM_PER_UNIT.get(_whole(tags, PLANE_UNIT, 2))
    plane = _positive(tags, PLANE_X)
    white = {0: "auto", 1: "manual"}.get(_whole(tags, WHITE, -1))
    bias = tags.get(BIAS, (math.nan,))[0]
    return ShotSettings(
        f_number=_positive(tags, F_NUMBER),
        time_s=_positive(tags, TIME),
        iso=_positive(tags, ISO),
        bias_stops=float(bias) if _is_finite(bias) else None,
        focal_length_mm=_positive(tags, FOCAL),
        focal_length_35mm=_positive(tags, FOCAL_35),
        focal_plane_px_per_mm=plane / per_unit if plane is not None and per_unit else None,
        taken=_date(tags.get(TAKEN, ("",))[0]),
        white_balance=white,
    )


def _is_finite(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def _positive(tags: Tags, number: int) -> float | None:
    value = tags.get(number, (math.nan,))[0]
    return float(value) if _is_finite(value) and value > 0 else None


def _whole(tags: Tags, number: int, default: int) -> int:
    value = tags.get(number, (default,))[0]
    return value if isinstance(value, int) else default


def _orientation(tags: Tags) -> int:
    value = _whole(tags, ORIENTATION, 1)
    return value if 1 <= value <= 8 else 1


def _date(text: object) -> str | None:
    """Return "2024:05:01 12:30:00" as "2024-05-01T12:30:00"; anything else as None.

    >>> _date("2024:05:01 12:30:00"), _date("    :  :     :  :  ")
    ('2024-05-01T12:30:00', None)
    """
    if not isinstance(text, str) or not re.fullmatch(r"\d{4}(:\d\d){2} \d\d(:\d\d){2}", text):
        return None
    return text[:10].replace(":", "-") + "T" + text[11:]
