"""What a sheet does to the light in its cells that was put back otherwise under a still camera.

All light stays where it was on the table, and the earlier frame itself tells what the sheet sees a
step farther; what a model must add is what changes across thin lines, and foil with a direction of
its own, which turns with the sheet.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.estimate.put_back import Laid, gradients, put_back
from lightplan.scene.slips import sheet_turned

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.estimate.estimating import Photographed
    from lightplan.estimate.found import CameraState
    from lightplan.estimate.light_store import LightStore
    from lightplan.estimate.seen import SeenSheet
    from lightplan.scene import Rig

ASIDE_MM = 2.0
"""How far aside of a cell the model's light is read for its slope."""
TURNED_DEG = 1.0
"""How far a sheet is turned for what its foil's own direction does."""


def tone_slope(stops: Doubles, camera: CameraState) -> Doubles:
    """Return how many stops a camera's tone curve makes of one, at some levels."""
    level = np.minimum(stops, 0.0)
    slope = 1 + camera.contrast - camera.lift_stops * math.log(2) * 2.0**level
    return np.asarray(np.clip(slope, 0.5, 2.0))


def laid_again(
    rig: Rig,
    frames: tuple[Photographed, Photographed],
    camera: CameraState,
    lights: LightStore,
    clip_cd_m2: float,
) -> Laid | None:
    """Return how the sheet was put back; None where the camera has moved, or has another file.

    Parameters
    ----------
    rig : Rig
        As the earlier frame shows it.
    frames : (before, after)
    camera : CameraState
    lights : Lights
        Of that rig.
    clip_cd_m2 : float
        Luminance that clips as the earlier frame was taken.
    """
    before, after = frames
    if before.shape != after.shape:
        return None
    back = put_back(rig.sheet, before.corners, after.corners, float(max(after.shape)))
    if back is None:
        return None
    seen = before.seen
    slope = tone_slope(seen.stops, camera)
    model, slopes = model_slopes(rig, seen, lights, clip_cd_m2)
    level = replace(seen, stops=seen.stops / slope)
    along = gradients(level, model, slopes)
    turn = np.radians(around(along, seen)) + turned_foil(rig, seen, lights, clip_cd_m2, slopes)
    rows = np.concatenate([along, turn[..., None]], axis=-1)
    return Laid(back.step, back.sigma, rows)


def around(along: Doubles, seen: SeenSheet) -> Doubles:
    """Return how levels change in a turn about the sheet's middle, (n, 3), for a radian."""
    return np.asarray((along @ np.stack([-seen.y_mm, seen.x_mm], -1)[:, :, None])[..., 0])


def turned_foil(
    rig: Rig, seen: SeenSheet, lights: LightStore, clip_cd_m2: float, slopes: Doubles
) -> Doubles:
    """Return what turning the sheet does beside showing other places of the light, for a degree.

    Brushed foil and gratings have a direction of their own, which turns with the sheet; nought of
    all others.

    Parameters
    ----------
    slopes : (n, 3, 2) float
        How the light engine's levels change along x and y.
    """
    foil = rig.sheet.foil
    if foil.grating is None and foil.roughness[0] == foil.roughness[1]:
        return np.zeros_like(slopes[..., 0])
    levels = CellLevels(rig, seen, lights)

    def at(turn_deg: float) -> Doubles:
        light = levels.light(sheet_turned(rig, turn_deg))
        return to_stops(light.mixed({}, levels.room), clip_cd_m2)

    whole = (at(TURNED_DEG) - at(-TURNED_DEG)) / (2 * TURNED_DEG)
    return whole - np.radians(around(slopes, seen))


def model_slopes(
    rig: Rig, seen: SeenSheet, lights: LightStore, clip_cd_m2: float
) -> tuple[Doubles, Doubles]:
    """Return levels by the light engine in stops, and how they change along x and y."""

    def at(x: float, y: float) -> Doubles:
        there = replace(seen, x_mm=seen.x_mm + x, y_mm=seen.y_mm + y)
        levels = CellLevels(rig, there, lights)
        light = levels.light_of({})
        assert light is not None
        return to_stops(light.mixed({}, levels.room), clip_cd_m2)

    x, y = (
        (at(*way) - at(*(-a for a in way))) / (2 * ASIDE_MM)
        for way in ((ASIDE_MM, 0.0), (0.0, ASIDE_MM))
    )
    return at(0.0, 0.0), np.stack([x, y], axis=-1)
