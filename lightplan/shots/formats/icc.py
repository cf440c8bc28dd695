"""Colour profiles of the matrix/curve kind, read without losing bits (ICC.1:2022).

The common colour managers work on 8-bit pictures only; a 16-bit file would lose its
shadows. Profiles made of three curves and a matrix (sRGB, Adobe RGB, Display P3, every
"rotated" test profile) are therefore evaluated here; those made of tables are not.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import PhotoError
from lightplan.shots.formats.transfer import Transfer, srgb_curve

if TYPE_CHECKING:
    from lightplan.arrays import Doubles

# Colorants relative to D50, columns red, green, blue: primaries of IEC 61966-2-1 (sRGB), Adobe RGB
# (1998) version 2005-05, SMPTE EG 432-1 with a white of D65 (Display P3); white adapted by the
# matrix of Bradford, as in ICC.1:2022 annex E.
SRGB_D50 = np.array(
    [
        [0.4360413, 0.3851129, 0.1430458],
        [0.2224845, 0.7169051, 0.0606104],
        [0.0139202, 0.0970672, 0.7139126],
    ]
)
ADOBE_D50 = np.array(
    [
        [0.6097408, 0.2052726, 0.1491867],
        [0.3111125, 0.6256751, 0.0632123],
        [0.0194654, 0.0608745, 0.7445601],
    ]
)
P3_D50 = np.array(
    [
        [0.5151187, 0.2919778, 0.1571035],
        [0.2411892, 0.6922441, 0.0665668],
        [-0.0010505, 0.0418791, 0.7840713],
    ]
)
_KNOWN = {"sRGB": SRGB_D50, "Adobe RGB (1998)": ADOBE_D50, "Display P3": P3_D50}
_MOST_BYTES = 8 << 20
_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}


@dataclass(frozen=True)
class Profile:
    """An ICC profile's header and tags.

    Parameters
    ----------
    space : str
        Four letters: "RGB ", "GRAY", "CMYK", ...
    tags : dict
        Signature to bytes.
    raw : bytes
        The whole profile.
    """

    space: str
    tags: dict[bytes, bytes]
    raw: bytes

    @property
    def is_matrix(self) -> bool:
        """True where three curves and three colorants say everything."""
        needed = {b"rXYZ", b"gXYZ", b"bXYZ", b"rTRC", b"gTRC", b"bTRC"}
        return self.space == "RGB " and needed <= set(self.tags) and b"A2B0" not in self.tags

    def transfer(self, count: int) -> Transfer:
        """Return the way to linear sRGB for a matrix or grey profile, for `count` codes.

        Raises
        ------
        PhotoError
            A tag that cannot be read.
        """
        if self.space == "GRAY":
            grey = _curve(self.tags[b"kTRC"], count)
            return Transfer(name="grey", curves=np.tile(grey, (3, 1)).astype(np.float32))
        colorants = np.stack([_xyz(self.tags[k]) for k in (b"rXYZ", b"gXYZ", b"bXYZ")], axis=1)
        curves = np.stack([_curve(self.tags[k], count) for k in (b"rTRC", b"gTRC", b"bTRC")])
        matrix = to_srgb(colorants)
        near = bool(np.abs(matrix - np.eye(3)).max() < 2e-3)
        name = _name(colorants, curves)
        return Transfer(
            name=name, curves=curves.astype(np.float32), matrix=None if near else matrix
        )


def parse(raw: bytes) -> Profile:
    """Return the profile's tags.

    Raises
    ------
    PhotoError
        Bytes that are no profile.
    """
    if not 132 <= len(raw) <= _MOST_BYTES or raw[36:40] != b"acsp":
        raise _broken("no profile header")
    (count,) = struct.unpack_from(">I", raw, 128)
    if count > 200 or 132 + 12 * count > len(raw):
        raise _broken(f"{count} tags")
    tags = {}
    for i in range(count):
        name, offset, size = struct.unpack_from(">4sII", raw, 132 + 12 * i)
        if offset + size > len(raw):
            raise _broken("a tag beyond its end")
        tags[name] = raw[offset : offset + size]
    space = raw[16:20].decode("latin-1")
    if space == "GRAY" and b"kTRC" not in tags:
        raise _broken("grey without a curve")
    return Profile(space, tags, raw)


def to_srgb(colorants: Doubles) -> Doubles:
    """Return the matrix from linear values of a colour space to linear sRGB.

    White goes to white exactly, whatever the rounding of the file's numbers.

    Parameters
    ----------
    colorants : (3, 3) float
        XYZ relative to D50; columns red, green, blue.
    """
    matrix = np.linalg.solve(SRGB_D50, colorants)
    white = matrix.sum(axis=1)
    if not np.isfinite(matrix).all() or white.min() < 0.2 or white.max() > 5:
        raise _broken("colours that make no white")
    return np.asarray(matrix / white[:, None], np.float64)


def _xyz(tag: bytes) -> Doubles:
    if len(tag) < 20 or tag[:4] != b"XYZ ":
        raise _broken("a colour tag of another kind")
    return np.array(struct.unpack_from(">3i", tag, 8)) / 65536


def _curve(tag: bytes, count: int) -> Doubles:
    """Return linear values for `count` codes of a curveType or parametricCurveType tag."""
    codes = np.linspace(0, 1, count)
    if len(tag) < 12 or tag[:4] not in (b"curv", b"para"):
        raise _broken("a curve of another kind")
    if tag[:4] == b"para":
        return _parametric(tag, codes)
    (entries,) = struct.unpack_from(">I", tag, 8)
    if entries == 0:
        return codes
    if len(tag) < 12 + 2 * entries:
        raise _broken("a curve cut short")
    table = np.frombuffer(tag, ">u2", entries, 12).astype(np.float64)
    if entries == 1:
        return np.asarray(codes ** (table[0] / 256), np.float64)
    return np.interp(codes, np.linspace(0, 1, entries), table / 65535)


def _parametric(tag: bytes, x: Doubles) -> Doubles:
    """Return the curve of ICC.1 table 68, function types 0 to 4."""
    (kind,) = struct.unpack_from(">H", tag, 8)
    if kind not in _PARAMETERS or len(tag) < 12 + 4 * _PARAMETERS[kind]:
        raise _broken("a curve of an unknown kind")
    numbers = [v / 65536 for v in struct.unpack_from(f">{_PARAMETERS[kind]}i", tag, 12)]
    g, a, b, c, d, e, f = numbers + [0.0] * (7 - len(numbers))
    if kind == 0:
        a, b = 1.0, 0.0
    power = np.maximum(a * x + b, 0) ** g
    if kind in (1, 2):
        below = x < (-b / a if a else np.inf)
        values = np.where(below, 0.0, power) + (c if kind == 2 else 0.0)
    elif kind in (3, 4):
        values = np.where(x >= d, power + e, c * x + f)
    else:
        values = power
    if not np.isfinite(values).all():
        raise _broken("a curve with no values")
    return np.asarray(np.clip(values, 0, 1), np.float64)


def _name(colorants: Doubles, curves: Doubles) -> str:
    """Return the name of a known space, judged by its numbers.

    The text in the profile is not used: calibration tools write the owner's name there.
    """
    for name, known in _KNOWN.items():
        if np.abs(colorants - known).max() < 2e-3:
            expected = 0.5**2.19921875 if name.startswith("Adobe") else 0.2140
            middle = curves[:, round(0.5 * (curves.shape[1] - 1))]
            return name if np.abs(middle - expected).max() < 0.01 else f"{name} primaries"
    spread = np.sort(colorants.sum(axis=0))
    for name, known in _KNOWN.items():
        if np.abs(spread - np.sort(known.sum(axis=0))).max() < 5e-3:
            return f"rotated {name}"
    return "another RGB profile"


def _broken(got: str) -> PhotoError:
    return PhotoError(
        field="colour profile",
        wanted="a readable ICC profile",
        got=got,
        cure="export the photograph again as sRGB",
    )


def adobe_rgb(count: int) -> Transfer:
    """Return the transfer of Adobe RGB (1998): a power of 563/256."""
    curve = np.linspace(0, 1, count) ** (563 / 256)
    return Transfer(
        name="Adobe RGB (1998)",
        curves=np.tile(curve, (3, 1)).astype(np.float32),
        matrix=to_srgb(ADOBE_D50),
    )


def display_p3(count: int) -> Transfer:
    """Return the transfer of Display P3: the curve of sRGB on wider primaries."""
    curve = srgb_curve(np.linspace(0, 1, count))
    return Transfer(
        name="Display P3", curves=np.tile(curve, (3, 1)).astype(np.float32), matrix=to_srgb(P3_D50)
    )
