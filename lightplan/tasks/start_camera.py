"""From a photograph or a name to the camera of a first rig, leaning so that it is not mirrored."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

from lightplan.mirror.self_view import tilt_out
from lightplan.scene import Body, Camera, Exposure, Placement, Sheet, usually_held
from lightplan.scene.camera import focal_length_of
from lightplan.tasks.start import option

Answers: TypeAlias = Mapping[str, Any]
"""By the question's name."""
NEAREST_MM = 180.0
"""Nearer most lenses do not focus; common practice, no source."""
FILLS = 0.62
"""Share of the picture that the sheet fills, leaving room to crop; our choice."""
LEAST_LEAN_DEG = 22.0
LARGE_MM, LARGE_FILLS, LARGE_LEAN_DEG = 180.0, 0.42, 34.0
"""From so large on it fills less and is seen from farther aside: a board of usual size does then,
and stays out of the picture."""


@dataclass(frozen=True)
class Remark:
    """What the file says above a table or a field: the line that begins with `before`."""

    before: str
    text: str


def camera_of(answers: Answers, sheet: Sheet) -> tuple[Camera, list[Remark]]:
    """Return the camera, leaning so far that it does not see itself."""
    given = answers.get("camera")
    chosen = option("camera", given if isinstance(given, str) else None)
    assert chosen is not None
    means: dict[str, Any] = dict(chosen.means)
    remark = f"'{chosen.words}': usual figures; a photograph from it tells them better."
    if isinstance(given, Mapping):
        means |= _lens_of(given)
        remark = "From a photograph that it took."
    sensor_w, sensor_h = means["sensor_mm"]
    focal = focal_length_of(
        means["equivalent_mm"], sensor_width_mm=sensor_w, sensor_height_mm=sensor_h
    )
    body_w, body_h = means["body_mm"]
    is_large = max(sheet.width_mm, sheet.height_mm) >= LARGE_MM
    fills, least = (LARGE_FILLS, LARGE_LEAN_DEG) if is_large else (FILLS, LEAST_LEAN_DEG)
    away = max(
        sheet.width_mm * focal / (sensor_w * fills), sheet.height_mm * focal / (sensor_h * fills)
    )
    away = max(NEAREST_MM, 10.0 * round(away / 10.0))
    lean = tilt_out(side_mm=sheet.height_mm, body_mm=body_h, height_mm=away).angle_rad
    lean = max(lean + math.radians(3), math.radians(least))
    y, z = -round(away * math.sin(lean)), round(away * math.cos(lean))
    camera = Camera(
        placement=Placement((0.0, float(y), float(z))),
        focal_length_mm=focal,
        sensor_width_mm=sensor_w,
        sensor_height_mm=sensor_h,
        pixels=means["pixels"],
        states_equivalent=True,
        body=Body(width_mm=body_w, height_mm=body_h, lens_offset_mm=means["lens_offset_mm"]),
        exposure=Exposure(paper_level=_paper_level(sheet)),
        held=usually_held("tripod"),
    )
    return camera, [Remark("[camera]", remark), Remark("position_mm", "")]


def _lens_of(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a photograph told of the camera, as far as it is sensible."""
    found: dict[str, Any] = {}
    lens, pixels = given.get("equivalent_mm"), given.get("pixels")
    if isinstance(lens, int | float) and 10 <= lens <= 400:
        found["equivalent_mm"] = float(lens)
    if isinstance(pixels, Sequence) and len(pixels) == 2 and all(p > 100 for p in pixels):
        wide, high = max(pixels), min(pixels)
        found["pixels"] = (int(wide), int(high))
        found["sensor_mm"] = (
            (9.6, 9.6 * high / wide) if given.get("is_phone") else (23.5, 23.5 * high / wide)
        )
    return found


def _paper_level(sheet: Sheet) -> float:
    """Return where the stock shall lie in the picture: white is white, dark stays dark."""
    return round(min(0.8, max(0.03, 0.9 * max(sheet.paper.reflectance))), 2)
