"""How bright a lamp's face is, and what colour its light has.

A lamp is taken as a uniform Lambertian face (rectangle, disk) that shines to its front, or
as a uniform sphere (bulb). SI photometry: lm, cd, lx, cd/m2.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal, TypeAlias, assert_never

import numpy as np

from lightplan.optics import cie_tables
from lightplan.optics.colour import LINEAR_SRGB_TO_XYZ, WHITE_XYZ, xyz_to_linear_srgb
from lightplan.optics.exposure_values import INCIDENT_METER_C

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Doubles

LampShape: TypeAlias = Literal["rectangle", "disk", "bulb"]
OutputUnit: TypeAlias = Literal["cd/m2", "lm", "lx at 1 m", "guide number", "cd"]

PLANCK_SECOND_M_K = 0.014387768775
"""Second radiation constant h c / k_B (SI, 2019). [m K]"""
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def face_area_m2(*, shape: LampShape, width_mm: float, height_mm: float) -> float:
    """Return the area [m2] of the face as seen from straight ahead.

    A disk or bulb has the diameter `width_mm`; `height_mm` is not used for them.
    """
    if shape == "rectangle":
        return width_mm * height_mm * 1e-6
    return math.pi * (width_mm * 1e-3) ** 2 / 4.0


def luminance(
    value: float, unit: OutputUnit, *, shape: LampShape, width_mm: float, height_mm: float
) -> float:
    """Return the luminance of a lamp's face from the figure on its box.

    Parameters
    ----------
    value : float
        The figure.
    unit : str
        "cd/m2"; "lm"; "cd" on the axis; "lx at 1 m" on the axis; "guide number" in metres
        at ISO 100.
    shape, width_mm, height_mm
        Of the face; a disk or bulb has the diameter `width_mm`.

    Returns
    -------
    float
        Luminance in cd/m2. For a guide number: the constant luminance that gives the same
        exposure in 1 s as the flash, that is cd s/m2; divide by the exposure time to set it
        beside continuous lamps.

    Notes
    -----
    Lumens: a one-sided Lambertian face of area A has L = Phi / (pi A); a sphere of radius r
    has L = Phi / (4 pi^2 r^2). Candela: L = I / A. Lux at 1 m are taken as far field, I = E
    (1 m)^2 from the face's middle, as makers of bare lamps mean it; a meter held 1 m before
    a face of 600 x 900 mm reads 16 % less than I, see `view_factors.centred_rectangle`.
    A guide number GN is the f-number times the distance for a correct exposure, so by the
    incident-meter law at ISO 100 the flash gives C GN^2 / 100 lux seconds at 1 m, C = 250.

    Examples
    --------
    >>> round(luminance(1000.0, "lm", shape="rectangle", width_mm=1000.0, height_mm=1000.0), 3)
    318.31
    """
    area = face_area_m2(shape=shape, width_mm=width_mm, height_mm=height_mm)
    match unit:
        case "cd/m2":
            return value
        case "lm":
            # The sphere's whole surface is four times the disk one sees.
            return value / (math.pi * area * (4.0 if shape == "bulb" else 1.0))
        case "cd" | "lx at 1 m":
            return value / area
        case "guide number":
            return INCIDENT_METER_C * value**2 / 100.0 / area
    assert_never(unit)


def planck_xyz(kelvin: float) -> Doubles:
    """Return CIE XYZ (Y = 1) of a black body.

    Parameters
    ----------
    kelvin : float
        Temperature. [K]

    Returns
    -------
    (3,) float
    """
    metres = cie_tables.WAVELENGTH_NM * 1e-9
    # Relative to 560 nm, so that nothing overflows.
    exponent = PLANCK_SECOND_M_K / (metres * kelvin)
    power = (560e-9 / metres) ** 5 * np.exp(-exponent) / -np.expm1(-exponent)
    xyz = power @ cie_tables.MATCHING
    return np.asarray(xyz / xyz[1])


def kelvin_to_rgb(kelvin: float, white_kelvin: float) -> Doubles:
    """Return the colour of a lamp as a camera set to another temperature sees it.

    Parameters
    ----------
    kelvin : float
        Colour temperature of the lamp. [K]
    white_kelvin : float
        Colour temperature the white balance is set to. [K]

    Returns
    -------
    (3,) float
        Linear sRGB of luminance 1 (0.2126 R + 0.7152 G + 0.0722 B); (1, 1, 1) when both
        are equal. A channel that would be negative (deep orange) is 0.

    Notes
    -----
    Both are taken on the Planckian locus. The white balance is a Bradford adaptation from
    its white to D65 (ICC.1:2022, annex E).

    Examples
    --------
    >>> [round(float(v), 6) + 0.0 for v in kelvin_to_rgb(5500.0, 5500.0)]
    [1.0, 1.0, 1.0]
    """
    rgb = xyz_to_linear_srgb(adapt(planck_xyz(kelvin), planck_xyz(white_kelvin)))
    rgb = np.maximum(rgb, 0.0)
    return np.asarray(rgb / (LINEAR_SRGB_TO_XYZ[1] @ rgb))


def adapt(xyz: ArrayLike, white: ArrayLike) -> Doubles:
    """Return (..., 3) XYZ seen under `white` as the same colour under D65 (Bradford)."""
    gains = (_BRADFORD @ WHITE_XYZ) / (_BRADFORD @ np.asarray(white, float))
    matrix = np.linalg.inv(_BRADFORD) @ (gains[:, None] * _BRADFORD)
    return np.asarray(np.asarray(xyz, float) @ matrix.T)
