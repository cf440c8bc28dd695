"""What a test photograph tells of the camera's own settings: exposure, white balance, focus."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.scene.slips import Slip

if TYPE_CHECKING:
    from lightplan.estimate import Estimate, Photographed
    from lightplan.shots.results import PhotoScore

EXPOSURE_OFF, BALANCE_OFF = 0.3, 0.1
"""Stops from which exposure and white balance (red over blue) count as slips: settings come in
thirds of a stop, and lamps differ in colour by a few hundredths. Ours."""
BLURRED_PX = 3.2
"""Rise of the artwork's edges in pixels of the file from which a small count of details is the
lens's fault and not that of a small file."""
SHARP_COUNT = 400
"""Details along the sheet from which it counts as sharp whatever its edges are. Ours."""


def camera_slips(
    found: Estimate, score: PhotoScore, data: Photographed, *, balance: float = 0.0
) -> tuple[Slip, ...]:
    """Return what is off in the camera's settings.

    `balance` is red over blue, in stops, as the shoot's white balance was set: neutral by itself.
    """
    slips = (_exposure(found, data), _balance(found, balance), _focus(score))
    return tuple(slip for slip in slips if slip is not None)


def _exposure(found: Estimate, data: Photographed) -> Slip | None:
    camera = found.camera
    if abs(camera.exposure_stops) < EXPOSURE_OFF:
        return None
    return Slip(
        element="exposure",
        dimension="stops",
        value=camera.exposure_stops,
        unit="stops",
        uncertainty=max(camera.exposure_sigma, 0.05),
        confidence=0.95 if data.clip_cd_m2 is not None else 0.7,
    )


def _balance(found: Estimate, right: float) -> Slip | None:
    stops = found.camera.balance_stops - right
    if abs(stops) < BALANCE_OFF:
        return None
    return Slip(
        element="white balance",
        dimension="stops",
        value=stops,
        unit="stops",
        uncertainty=0.04,
        confidence=0.9,
    )


def _focus(score: PhotoScore) -> Slip | None:
    resolved, rise = (
        score.value(n) for n in ("sharpness_resolved_count", "sharpness_edge_rise_px")
    )
    if resolved is None or rise is None or resolved >= SHARP_COUNT or rise <= BLURRED_PX:
        return None
    return Slip(
        element="focus",
        dimension="blur_px",
        value=rise,
        unit="",
        uncertainty=0.2 * rise,
        confidence=0.9,
    )
