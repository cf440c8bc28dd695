"""Where the camera sees itself in the foil, and the three ways out with their price."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, read_only

if TYPE_CHECKING:
    from lightplan.scene import Camera, Sheet


@dataclass(frozen=True, kw_only=True, eq=False)
class SelfView:
    """The camera's own reflection on the sheet.

    Parameters
    ----------
    outline_mm : (4, 2) float
        Corners on z = 0; half as large as the body when the camera is square over it.
    width_mm, height_mm : float
        Its extent along x and y.
    share : float
        Share of the sheet that shows the camera.
    """

    outline_mm: Doubles
    width_mm: float
    height_mm: float
    share: float


@dataclass(frozen=True, kw_only=True)
class Tilt:
    """Look from the side: the camera moves off the normal and turns back to the sheet.

    `keystone` is by how much the near edge is drawn larger than the far edge.
    """

    angle_rad: float
    shift_mm: float
    keystone: float


@dataclass(frozen=True, kw_only=True)
class OffsetAndCrop:
    """Stay square, push the sheet aside in the frame, and crop.

    Parameters
    ----------
    shift_mm : float
        The camera's way sideways.
    height_mm : float
        Height over the sheet from which the frame still holds it.
    pixels_across, pixels_across_centred : float
        Pixels along the side that was shifted, after the crop and for a sheet that
        fills the frame from the same kind of view.
    """

    shift_mm: float
    height_mm: float
    pixels_across: float
    pixels_across_centred: float

    @property
    def share_left(self) -> float:
        """Share of the picture's pixels on the sheet that remain (both sides shrink)."""
        return (self.pixels_across / self.pixels_across_centred) ** 2


@dataclass(frozen=True, kw_only=True)
class ThroughHole:
    """Shoot through a hole in the card; the hole leaves a dark spot on the foil."""

    hole_mm: float
    spot_mm: float
    spot_share: float


@dataclass(frozen=True, kw_only=True)
class WaysOut:
    """The three ways out; the hole is None where the card would hide the sheet."""

    tilt: Tilt
    offset: OffsetAndCrop
    hole: ThroughHole


def self_view(camera: Camera, sheet: Sheet) -> SelfView | None:
    """Return where a flat foil shows the camera's body; None for a camera without one."""
    body = camera.body
    if body is None:
        return None
    right, up, forward = camera.axes()
    lens = np.asarray(camera.placement.position_mm)
    middle = lens - body.setback_mm * forward
    middle = middle - body.lens_offset_mm[0] * right - body.lens_offset_mm[1] * up
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2
    corners = middle + signs @ np.stack([body.width_mm * right, body.height_mm * up])
    outline = mirrored_place(lens, corners)
    extent = outline.max(axis=0) - outline.min(axis=0)
    half = np.array([sheet.width_mm, sheet.height_mm]) / 2
    covered = polygon_area(clip_to_box(outline, -half, half))
    return SelfView(
        outline_mm=read_only(outline),
        width_mm=float(extent[0]),
        height_mm=float(extent[1]),
        share=covered / (sheet.width_mm * sheet.height_mm),
    )


def mirrored_place(lens_mm: Doubles, points_mm: Doubles) -> Doubles:
    """Return where on z = 0 the lens sees points mirrored, (n, 2) float, in mm."""
    weight = lens_mm[2] / (lens_mm[2] + points_mm[:, 2])
    return np.asarray(lens_mm[:2] + weight[:, None] * (points_mm[:, :2] - lens_mm[:2]))


def clip_to_box(polygon: Doubles, low: Doubles, high: Doubles) -> Doubles:
    """Return the part of a convex polygon inside a box (Sutherland and Hodgman 1974)."""
    for axis in (0, 1):
        for sign, bound in ((1.0, low[axis]), (-1.0, -high[axis])):
            polygon = _clip(polygon, sign * polygon[:, axis] - bound)
    return polygon


def _clip(polygon: Doubles, inside: Doubles) -> Doubles:
    kept = []
    for i in range(len(polygon)):
        j = (i + 1) % len(polygon)
        if inside[i] >= 0:
            kept.append(polygon[i])
        if (inside[i] >= 0) != (inside[j] >= 0):
            share = inside[i] / (inside[i] - inside[j])
            kept.append(polygon[i] + share * (polygon[j] - polygon[i]))
    return np.array(kept).reshape(-1, 2)


def polygon_area(polygon: Doubles) -> float:
    """Return the area of a simple polygon (shoelace formula).

    >>> polygon_area(np.array([[0.0, 0], [2, 0], [2, 1], [0, 1]]))
    2.0
    """
    if len(polygon) < 3:
        return 0.0
    x, y = polygon.T
    return float(abs(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1))) / 2)


def tilt_out(*, side_mm: float, body_mm: float, height_mm: float) -> Tilt:
    """Return the smallest step sideways that takes the camera's reflection off the sheet.

    The reflection lies under the lens and is half the body wide, so the lens must pass
    the edge by a quarter of the body.

    Parameters
    ----------
    side_mm : float
        Sheet side along which the camera moves.
    body_mm : float
        Size of the camera body in that direction.
    height_mm : float
        Of the lens over the sheet; it stays.

    Examples
    --------
    >>> way = tilt_out(side_mm=148, body_mm=75, height_mm=1000)
    >>> round(math.degrees(way.angle_rad), 1), round(100 * way.keystone, 1)
    (5.3, 1.4)
    """
    shift = side_mm / 2 + body_mm / 4
    angle = math.atan2(shift, height_mm)
    distance = math.hypot(shift, height_mm)
    lean = side_mm / 2 * math.sin(angle)
    return Tilt(angle_rad=angle, shift_mm=shift, keystone=(distance + lean) / (distance - lean) - 1)


def offset_out(
    *, side_mm: float, body_mm: float, height_mm: float, half_angle_tan: float, pixels: int
) -> OffsetAndCrop:
    """Return the price, in pixels, of keeping the camera square and cropping.

    Parameters
    ----------
    half_angle_tan : float
        Tangent of half the field of view along the shift.
    pixels : int
        Of the camera's file along the shift.
    """
    shift = side_mm / 2 + body_mm / 4
    needed = max(height_mm, (shift + side_mm / 2) / half_angle_tan)
    return OffsetAndCrop(
        shift_mm=shift,
        height_mm=needed,
        pixels_across=pixels * side_mm / (2 * half_angle_tan * needed),
        pixels_across_centred=pixels * min(1.0, side_mm / (2 * half_angle_tan * height_mm)),
    )


def hole_out(
    sheet: Sheet, *, camera_height_mm: float, card_height_mm: float, lens_opening_mm: float = 10.0
) -> ThroughHole:
    """Return the smallest hole in a card over the sheet, and the dark spot it leaves.

    The lens must see the whole sheet through it; the foil mirrors the hole at
    h / (h + card height) of its size, half when the card is at the lens.
    """
    h = camera_height_mm
    diagonal = math.hypot(sheet.width_mm, sheet.height_mm)
    hole = diagonal * max(0.0, 1 - card_height_mm / h) + lens_opening_mm
    spot = hole * h / (h + card_height_mm)
    area = math.pi / 4 * spot**2 / (sheet.width_mm * sheet.height_mm)
    return ThroughHole(hole_mm=hole, spot_mm=spot, spot_share=min(1.0, area))


def ways_out(camera: Camera, sheet: Sheet, *, card_height_mm: float | None = None) -> WaysOut:
    """Return tilt, offset and hole for this camera and sheet, along the sheet's shorter side.

    Parameters
    ----------
    card_height_mm : float or None
        Height of a card with a hole; None: right at the lens.
    """
    height = camera.placement.position_mm[2]
    along_y = sheet.height_mm <= sheet.width_mm
    side = min(sheet.width_mm, sheet.height_mm)
    body = camera.body
    size = 0.0 if body is None else (body.height_mm if along_y else body.width_mm)
    tan = camera.half_angles_tan()[1 if along_y else 0]
    pixels = camera.pixels[1 if along_y else 0]
    card = height if card_height_mm is None else card_height_mm
    return WaysOut(
        tilt=tilt_out(side_mm=side, body_mm=size, height_mm=height),
        offset=offset_out(
            side_mm=side, body_mm=size, height_mm=height, half_angle_tan=tan, pixels=pixels
        ),
        hole=hole_out(sheet, camera_height_mm=height, card_height_mm=card),
    )
