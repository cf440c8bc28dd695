"""Laws in their plain form: what the package does quickly or in parts, as the books have it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.optics import microfacet
from lightplan.optics.exposure_values import INCIDENT_METER_C, LENS_Q

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Doubles, Floats

REFLECTED_METER_K = 12.5
"""Reflected-light meter constant; ISO 2720:1974 allows 10.6 to 13.4. [cd s/(m2 ISO)]"""


def standing_rectangle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the factor to a rectangle that stands on the receiver's plane.

    The foot of one upright edge is `distance` straight in front of the receiver; catalogue
    B-4.
    """
    height, width, distance = (np.asarray(v, float) for v in (height, width, distance))
    slant = np.hypot(height, distance)
    total = np.arctan2(width, distance) - distance / slant * np.arctan2(width, slant)
    return np.asarray(total / (2.0 * np.pi))


def coaxial_disk(*, radius: ArrayLike, distance: ArrayLike, tilt_rad: ArrayLike = 0.0) -> Doubles:
    """Return the factor to a disk whose axis goes through the receiver; catalogue B-12.

    The receiver may be tilted as long as the whole disk stays above its horizon.
    """
    radius, distance = np.asarray(radius, float), np.asarray(distance, float)
    return np.asarray(radius**2 / (radius**2 + distance**2) * np.cos(tilt_rad))


def offset_disk(*, radius: ArrayLike, distance: ArrayLike, offset: ArrayLike) -> Doubles:
    """Return the factor to a parallel disk, its axis `offset` beside the receiver (B-13)."""
    r2, h2, a2 = (np.square(np.asarray(v, float)) for v in (radius, distance, offset))
    total = a2 + h2 + r2
    return np.asarray(0.5 * (1.0 - (a2 + h2 - r2) / np.sqrt(total**2 - 4.0 * r2 * a2)))


def rectangle_solid_angle(*, width: ArrayLike, height: ArrayLike, distance: ArrayLike) -> Doubles:
    """Return the solid angle [sr] of a rectangle seen from straight before its middle."""
    a = np.asarray(width, float) / (2.0 * np.asarray(distance, float))
    b = np.asarray(height, float) / (2.0 * np.asarray(distance, float))
    return np.asarray(4.0 * np.arcsin(a * b / np.sqrt((1.0 + a * a) * (1.0 + b * b))))


def metered_luminance(
    *, f_number: float, time_s: float, iso: float, constant: float = REFLECTED_METER_K
) -> float:
    """Return the luminance [cd/m2] for which a reflected-light meter gives these settings."""
    return constant * f_number**2 / (time_s * iso)


def metered_illuminance(
    *, f_number: float, time_s: float, iso: float, constant: float = INCIDENT_METER_C
) -> float:
    """Return the illuminance [lx] for which an incident-light meter gives these settings."""
    return constant * f_number**2 / (time_s * iso)


def focal_plane_exposure(
    luminance_cd_m2: float, *, f_number: float, time_s: float, lens_q: float = LENS_Q
) -> float:
    """Return the exposure H = q L t / N^2 [lx s] on the sensor."""
    return lens_q * luminance_cd_m2 * time_s / f_number**2


def flash_f_number(guide_number_m: float, *, distance_m: float, iso: float = 100.0) -> float:
    """Return the f-number N = GN sqrt(S / 100) / distance, GN in metres at ISO 100.

    Examples
    --------
    >>> flash_f_number(32.0, distance_m=4.0)
    8.0
    """
    return guide_number_m * math.sqrt(iso / 100.0) / distance_m


def lambda_smith(vx: Floats, vy: Floats, vz: Floats, ax: ArrayLike, ay: ArrayLike) -> Floats:
    """Return Smith's Lambda, hidden over visible facet area; inf at grazing.

    Parameters
    ----------
    vx, vy, vz : (...) float
        Direction, vz > 0.
    ax, ay : (...) float
        GGX alpha along x and y.
    """
    slope = np.square(vx * np.asarray(ax)) + np.square(vy * np.asarray(ay))
    return np.asarray(0.5 * (np.sqrt(1.0 + slope / np.square(vz)) - 1.0))


def visible_density(view: Floats, half: Floats, ax: ArrayLike, ay: ArrayLike) -> Floats:
    """Return the density of visible normals, per solid angle of the normal.

    Parameters
    ----------
    view, half : (..., 3) float
        Direction to the viewer and microfacet normal.
    ax, ay : (...) float
        GGX alpha along x and y.

    Returns
    -------
    (...) float
        G1(view) max(0, view . half) D(half) / view_z. [1/sr]
    """
    v, h = np.moveaxis(view, -1, 0), np.moveaxis(half, -1, 0)
    seen = np.maximum(v[0] * h[0] + v[1] * h[1] + v[2] * h[2], 0.0)
    area = np.maximum(v[2], np.finfo(v.dtype).tiny)
    masking = microfacet.g1(v[0], v[1], v[2], ax, ay)
    return np.asarray(masking * seen * microfacet.d(h[0], h[1], h[2], ax, ay) / area)


def brdf(view: Floats, light: Floats, ax: ArrayLike, ay: ArrayLike) -> Floats:
    """Return the reflectance distribution of a perfect (Fresnel = 1) rough mirror.

    Parameters
    ----------
    view, light : (..., 3) float
        Directions away from the surface; the two may be swapped.
    ax, ay : (...) float
        GGX alpha along x and y.

    Returns
    -------
    (...) float
        D G1(view) G1(light) / (4 view_z light_z), 0 below the surface. [1/sr]
    """
    v, w = np.moveaxis(view, -1, 0), np.moveaxis(light, -1, 0)
    half = v + w
    half = half / np.maximum(np.sqrt(np.sum(half * half, axis=0)), np.finfo(v.dtype).tiny)
    above = (v[2] > 0.0) & (w[2] > 0.0)
    facing = np.where(above, 4.0 * v[2] * w[2], 1.0)
    masking = microfacet.g1(v[0], v[1], v[2], ax, ay) * microfacet.g1(w[0], w[1], w[2], ax, ay)
    value = microfacet.d(half[0], half[1], half[2], ax, ay) * masking / facing
    return np.where(above, value, np.zeros((), value.dtype))


def chroma_and_hue_rad(lab: ArrayLike) -> tuple[Floats, Floats]:
    """Return C*ab and the hue angle (0 to 2 pi) of (..., 3) CIELAB."""
    lab = np.asarray(lab)
    a, b = lab[..., 1], lab[..., 2]
    return np.hypot(a, b), np.mod(np.arctan2(b, a), 2.0 * np.pi)
