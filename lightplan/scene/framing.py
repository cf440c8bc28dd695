"""How the sheet lies in the frame, and where the camera stands so that it fills it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene.placement import Placement

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles
    from lightplan.scene.camera import Camera
    from lightplan.scene.sheet import Sheet

FILLED = (0.70, 0.85)
"""Share of the frame that the sheet should span along the side where it is tightest: less
wastes pixels, more leaves no margin to crop. Common practice, no source."""
WANTED_FILL = 0.78
NEAREST_FOCAL_LENGTHS, NEAREST_MM = 5.5, 120.0
"""A usual lens draws things a quarter as large at most, which is from about so many focal lengths
on; a phone focuses from about 12 cm (from memory)."""
_ROUNDS = 30


@dataclass(frozen=True, kw_only=True)
class Framing:
    """How the sheet lies in the frame.

    Parameters
    ----------
    across, down : float
        Share of the frame's width and height that the sheet spans; above 1 it does not fit.
    inside : float
        Share of the sheet's outline that is in the frame.
    keystone : float
        By how much the edge nearest to the lens is drawn larger than the farthest.
    """

    across: float
    down: float
    inside: float
    keystone: float

    @property
    def filled(self) -> float:
        """Share of the frame along the side where the sheet is tightest."""
        return max(self.across, self.down)


def framing(camera: Camera, sheet: Sheet) -> Framing:
    """Return how a sheet lies in a camera's frame."""
    lens = np.asarray(camera.placement.position_mm)
    places = _in_frame(camera, _outline(sheet))
    seen = places[np.isfinite(places).all(axis=1)]
    if not len(seen):
        return Framing(across=math.inf, down=math.inf, inside=0.0, keystone=0.0)
    across, down = (seen.max(axis=0) - seen.min(axis=0)) / 2
    away = np.linalg.norm(_outline(sheet) - lens, axis=1)
    return Framing(
        across=float(across),
        down=float(down),
        inside=float((np.abs(places) <= 1).all(axis=1).mean()),
        keystone=float(away.max() / away.min() - 1),
    )


def seen_in_frame(camera: Camera, sheet: Sheet, shape: tuple[int, ...]) -> Booleans:
    """Return which places of the sheet's grid (rows, cols), row 0 far, the frame holds."""
    rows, cols = shape
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * sheet.width_mm
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * sheet.height_mm
    across, up = np.meshgrid(x, y)
    points = np.stack([across.ravel(), up.ravel(), np.zeros(rows * cols)], axis=-1)
    # Places behind the lens are no numbers, and no number is within the frame.
    with np.errstate(invalid="ignore"):
        inside = np.all(np.abs(_in_frame(camera, points)) <= 1.0, axis=1)
    return np.asarray(inside, np.bool_).reshape(rows, cols)


def framed(camera: Camera, sheet: Sheet, towards: Doubles, *, fill: float = WANTED_FILL) -> Camera:
    """Return the camera moved so that the sheet fills the frame, seen from a direction.

    Parameters
    ----------
    towards : (3,) float
        From the sheet's middle to the lens; its length does not matter.
    fill : float
        Share of the frame along the side where the sheet is tightest. Where the lens cannot
        focus that near, it stands as near as it can.
    """
    unit = np.asarray(towards, float) / np.linalg.norm(towards)
    distance = 4.0 * max(sheet.width_mm, sheet.height_mm)
    least = nearest_mm(camera)
    aim = np.zeros(3)
    for _ in range(_ROUNDS):
        found = _looking(camera, distance * unit, aim)
        places = _in_frame(found, _outline(sheet))
        if not np.isfinite(places).all():
            distance *= 2.0
            continue
        low, high = places.min(axis=0), places.max(axis=0)
        span = float((high - low).max()) / 2
        aim = aim + _on_table(found, (low + high) / 2) - _on_table(found, np.zeros(2))
        before = distance
        distance = max(least, distance * (span / fill))
        if abs(distance - before) < 0.05 and np.abs(low + high).max() < 1e-3:
            break
    return _looking(camera, distance * unit, aim)


def nearest_mm(camera: Camera) -> float:
    """Return from how near a usual lens of such a focal length focuses, mm.

    >>> from lightplan.scene import Camera, Placement
    >>> nearest_mm(Camera(placement=Placement((0, 0, 600)), focal_length_mm=50))
    275.0
    """
    return max(NEAREST_MM, NEAREST_FOCAL_LENGTHS * camera.focal_length_mm)


def held_upright(camera: Camera) -> Camera:
    """Return the camera turned by a quarter, so that its long side stands.

    Sensor, body and file change sides, as the file does that such a camera writes.
    """
    body = camera.body
    if body is not None:
        across, up = body.lens_offset_mm
        body = replace(
            body, width_mm=body.height_mm, height_mm=body.width_mm, lens_offset_mm=(-up, across)
        )
    cols, rows = camera.pixels
    return replace(
        camera,
        sensor_width_mm=camera.sensor_height_mm,
        sensor_height_mm=camera.sensor_width_mm,
        pixels=(rows, cols),
        body=body,
    )


def leaning(azimuth_rad: float, lean_rad: float) -> Doubles:
    """Return the direction that leans from straight up towards an azimuth (from x)."""
    flat = math.sin(lean_rad)
    return np.array(
        [flat * math.cos(azimuth_rad), flat * math.sin(azimuth_rad), math.cos(lean_rad)]
    )


def _looking(camera: Camera, position: Doubles, aim: Doubles) -> Camera:
    place = Placement(
        (float(position[0]), float(position[1]), float(position[2])),
        (float(aim[0]), float(aim[1]), float(aim[2])),
        camera.placement.roll_rad,
    )
    return replace(camera, placement=place)


def _outline(sheet: Sheet) -> Doubles:
    """Return corners and middles of the sheet's edges, (8, 3) mm."""
    signs = [(-1, -1), (0, -1), (1, -1), (1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0)]
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    return np.column_stack([np.array(signs) * half, np.zeros(8)])


def _in_frame(camera: Camera, points: Doubles) -> Doubles:
    """Return places (n, 2) in the frame, -1 to 1 across and up; NaN behind the lens."""
    right, up, forward = camera.axes()
    tan_x, tan_y = camera.half_angles_tan()
    offset = points - np.asarray(camera.placement.position_mm)
    depth = offset @ forward
    depth = np.where(depth > 1e-6, depth, np.nan)
    return np.stack([offset @ right / (depth * tan_x), offset @ up / (depth * tan_y)], axis=-1)


def _on_table(camera: Camera, place: Doubles) -> Doubles:
    """Return where the ray through a place of the frame meets the table, (3,) mm."""
    right, up, forward = camera.axes()
    tan_x, tan_y = camera.half_angles_tan()
    ray = forward + place[0] * tan_x * right + place[1] * tan_y * up
    lens = np.asarray(camera.placement.position_mm)
    return np.asarray(lens - lens[2] / min(float(ray[2]), -1e-3) * ray)
