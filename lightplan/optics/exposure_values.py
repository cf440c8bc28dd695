"""Exposure: exposure values, meters, and the luminance that clips.

Symbols as in ISO 2720 (meters) and ISO 12232 (sensor speed): f-number N, time t [s], ISO
speed S, luminance L [cd/m2], illuminance E [lx], focal-plane exposure H [lx s].
"""

from __future__ import annotations

import math

INCIDENT_METER_C = 250.0
"""Incident-light meter constant for a flat receptor; ISO 2720:1974 allows 240 to 400."""
LENS_Q = 0.65
"""Share of the ideal focal-plane exposure: transmission, vignetting, off-axis (from memory)."""
SATURATION_H = 78.0
"""Focal-plane exposure that saturates, times ISO (saturation-based speed, ISO 12232). [lx s]"""


def ev(*, f_number: float, time_s: float) -> float:
    """Return the exposure value log2(N^2 / t).

    Examples
    --------
    >>> round(ev(f_number=16.0, time_s=1 / 125), 4)
    14.9658
    """
    return math.log2(f_number**2 / time_s)


def ev_100(*, f_number: float, time_s: float, iso: float) -> float:
    """Return the exposure value that the settings have at ISO 100."""
    return ev(f_number=f_number, time_s=time_s) - math.log2(iso / 100.0)


def saturation_exposure(*, iso: float) -> float:
    """Return the focal-plane exposure 78 / S [lx s] that just clips."""
    return SATURATION_H / iso


def saturation_luminance(
    *, f_number: float, time_s: float, iso: float, lens_q: float = LENS_Q
) -> float:
    """Return the luminance [cd/m2] that just clips: 120 N^2 / (S t) with the usual q = 0.65.

    Examples
    --------
    >>> round(saturation_luminance(f_number=8.0, time_s=1 / 125, iso=100.0), 6)
    9600.0
    """
    return saturation_exposure(iso=iso) * f_number**2 / (lens_q * time_s)


def time_for_saturation(luminance_cd_m2: float, *, f_number: float, iso: float) -> float:
    """Return the exposure time [s] for which a luminance just clips."""
    return saturation_luminance(f_number=f_number, time_s=1.0, iso=iso) / luminance_cd_m2
