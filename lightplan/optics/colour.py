"""sRGB, CIE XYZ, CIELAB and the CIEDE2000 colour difference.

sRGB is IEC 61966-2-1 with its four-decimal matrix; CIELAB is CIE 015 with the white of that
matrix (D65), so that equal channels have a* = b* = 0 exactly.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Booleans, Doubles, Floats, read_only

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

LINEAR_SRGB_TO_XYZ = read_only(
    [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
)
XYZ_TO_LINEAR_SRGB = read_only(np.linalg.inv(LINEAR_SRGB_TO_XYZ))
WHITE_XYZ = read_only(LINEAR_SRGB_TO_XYZ.sum(axis=1))

_LAB_STEP = 6.0 / 29.0


def srgb_encode(linear: ArrayLike) -> Floats:
    """Return sRGB values 0..1 of linear values; below 0 the curve is mirrored.

    Parameters
    ----------
    linear : (...) float

    Returns
    -------
    (...) float
        float32 for float32 input.

    Examples
    --------
    >>> round(float(srgb_encode(0.18)) * 255, 3)
    117.646
    """
    linear = _floats(linear)
    size = np.abs(linear)
    curve = 1.055 * np.power(size, 1.0 / 2.4) - 0.055
    return np.copysign(np.where(size <= 0.0031308, 12.92 * size, curve), linear)


def srgb_decode(encoded: ArrayLike) -> Floats:
    """Return linear values of sRGB values 0..1; below 0 the curve is mirrored.

    Parameters
    ----------
    encoded : (...) float

    Returns
    -------
    (...) float
        float32 for float32 input.

    Examples
    --------
    >>> round(float(srgb_decode(128 / 255)), 6)
    0.215861
    """
    encoded = _floats(encoded)
    size = np.abs(encoded)
    curve = np.power((size + 0.055) / 1.055, 2.4)
    return np.copysign(np.where(size <= 0.04045, size / 12.92, curve), encoded)


def linear_srgb_to_xyz(linear: ArrayLike) -> Floats:
    """Return CIE XYZ (Y = 1 for white) of (..., 3) linear sRGB."""
    linear = _floats(linear)
    return linear @ LINEAR_SRGB_TO_XYZ.T.astype(linear.dtype)


def xyz_to_linear_srgb(xyz: ArrayLike) -> Floats:
    """Return (..., 3) linear sRGB of CIE XYZ (Y = 1 for white)."""
    xyz = _floats(xyz)
    return xyz @ XYZ_TO_LINEAR_SRGB.T.astype(xyz.dtype)


def luminance_factor(linear: ArrayLike) -> Floats:
    """Return Y (1 for white) of (..., 3) linear sRGB."""
    linear = _floats(linear)
    return np.asarray(linear @ LINEAR_SRGB_TO_XYZ[1].astype(linear.dtype))


def lightness(luminance: ArrayLike) -> Floats:
    """Return CIE L* of a luminance relative to white.

    Parameters
    ----------
    luminance : (...) float
        Y / Y of white.

    Returns
    -------
    (...) float
        0 to 100 for 0 to 1.

    Examples
    --------
    >>> round(float(lightness(0.18)), 4)
    49.4961
    """
    return 116.0 * _lab_curve(_floats(luminance)) - 16.0


def xyz_to_lab(xyz: ArrayLike, white: ArrayLike = WHITE_XYZ) -> Floats:
    """Return CIELAB of CIE XYZ.

    Parameters
    ----------
    xyz : (..., 3) float
    white : (3,) float
        XYZ of the reference white.

    Returns
    -------
    (..., 3) float
        L*, a*, b*.
    """
    xyz = _floats(xyz)
    curve = _lab_curve(xyz / np.asarray(white, xyz.dtype))
    x, y, z = curve[..., 0], curve[..., 1], curve[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def linear_srgb_to_lab(linear: ArrayLike) -> Floats:
    """Return CIELAB (D65) of (..., 3) linear sRGB.

    Examples
    --------
    >>> [round(float(v), 1) for v in linear_srgb_to_lab([1.0, 0.0, 0.0])]
    [53.2, 80.1, 67.2]
    """
    return xyz_to_lab(linear_srgb_to_xyz(linear))


def difference_2000(lab: ArrayLike, other: ArrayLike) -> Doubles:
    """Return the CIEDE2000 colour difference.

    Parameters
    ----------
    lab, other : (..., 3) float
        CIELAB; broadcast against each other. The difference is the same both ways round.

    Returns
    -------
    (...) float

    Notes
    -----
    G. Sharma, W. Wu, E. N. Dalal, "The CIEDE2000 color-difference formula", Color Res. Appl.
    30, 21-30 (2005), equations 2 to 22, with all parametric factors 1.

    Examples
    --------
    >>> round(float(difference_2000([50.0, 2.5, 0.0], [73.0, 25.0, -18.0])), 4)
    27.1492
    """
    one, two = np.asarray(lab, float), np.asarray(other, float)
    mean_chroma = 0.5 * (np.hypot(one[..., 1], one[..., 2]) + np.hypot(two[..., 1], two[..., 2]))
    stretch = 1.5 - 0.5 * _seventh(mean_chroma)
    chroma_1, hue_1 = _polar(one, stretch)
    chroma_2, hue_2 = _polar(two, stretch)
    grey = chroma_1 * chroma_2 == 0.0
    turn, mean_hue = _hue_difference_and_mean(hue_1, hue_2, grey)
    chroma = 0.5 * (chroma_1 + chroma_2)
    light = (0.5 * (one[..., 0] + two[..., 0]) - 50.0) ** 2
    d_light = (two[..., 0] - one[..., 0]) / (1.0 + 0.015 * light / np.sqrt(20.0 + light))
    d_chroma = (chroma_2 - chroma_1) / (1.0 + 0.045 * chroma)
    d_hue = 2.0 * np.sqrt(chroma_1 * chroma_2) * np.sin(0.5 * turn)
    d_hue = d_hue / (1.0 + 0.015 * chroma * _hue_weight(mean_hue))
    spread = np.deg2rad(60.0) * np.exp(-np.square((np.rad2deg(mean_hue) - 275.0) / 25.0))
    rotation = -2.0 * _seventh(chroma) * np.sin(spread)
    return np.asarray(np.sqrt(d_light**2 + d_chroma**2 + d_hue**2 + rotation * d_chroma * d_hue))


def _polar(lab: Doubles, stretch: Doubles) -> tuple[Doubles, Doubles]:
    a, b = lab[..., 1] * stretch, lab[..., 2]
    hue = np.arctan2(b, a)
    return np.hypot(a, b), np.where(hue < 0.0, hue + 2.0 * np.pi, hue)


def _hue_difference_and_mean(one: Doubles, two: Doubles, grey: Booleans) -> tuple[Doubles, Doubles]:
    """Return the shorter turn from hue `one` to `two`, and the hue halfway (both in rad)."""
    turn = two - one
    far = np.abs(turn) > np.pi
    short = np.where(far, turn - np.copysign(2.0 * np.pi, turn), turn)
    total = one + two
    halfway = 0.5 * np.where(
        far, np.where(total < 2.0 * np.pi, total + 2.0 * np.pi, total - 2.0 * np.pi), total
    )
    return np.where(grey, 0.0, short), np.where(grey, total, halfway)


def _hue_weight(hue: Doubles) -> Doubles:
    return np.asarray(
        1.0
        - 0.17 * np.cos(hue - np.deg2rad(30.0))
        + 0.24 * np.cos(2.0 * hue)
        + 0.32 * np.cos(3.0 * hue + np.deg2rad(6.0))
        - 0.20 * np.cos(4.0 * hue - np.deg2rad(63.0))
    )


def _seventh(chroma: Doubles) -> Doubles:
    square = chroma * chroma
    seventh = square * square * square * chroma  # a fifth of the time of numpy's power
    return np.asarray(np.sqrt(seventh / (seventh + 25.0**7)))


def _lab_curve(ratio: Floats) -> Floats:
    straight = ratio / (3.0 * _LAB_STEP**2) + 4.0 / 29.0
    return np.where(ratio > _LAB_STEP**3, np.cbrt(ratio), straight)


def _floats(values: ArrayLike) -> Floats:
    """Return `values` as float32 when they are that, else as float64."""
    array = np.asarray(values)
    return array if array.dtype == np.float32 else array.astype(np.float64)
