"""The camera or phone: where it is, what it sees, and the body that the foil sees."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from lightplan.errors import RigError
from lightplan.optics import tone_curve
from lightplan.scene import checks

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats
    from lightplan.scene.holding import Held
    from lightplan.scene.placement import Placement
    from lightplan.scene.sheet import Paper

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
LEAST_LEVEL = 0.02
SMALL_SENSOR_MM = 14.0  # diagonal; phones and pocket cameras have less (from memory)
ToneCurve = Literal["plain", "phone"]


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """Settings, or the wish that the paper lands on a level.

    Parameters
    ----------
    f_number, time_s, iso : float or None
        All three given: the exposure is fixed by them.
    paper_level : float or None
        Otherwise: the linear level, as a share of clipping, that the brightest paper gets;
        None: as light as the stock is, see `level_on`.
    foil_level : float
        The exposure is lowered where the brightest foil would rise above this level.
    """

    f_number: float | None = None
    time_s: float | None = None
    iso: float | None = None
    paper_level: float | None = None
    foil_level: float = 0.9

    def __post_init__(self) -> None:
        for name in ("f_number", "time_s", "iso"):
            value = getattr(self, name)
            if value is not None:
                checks.positive(value, f"camera.exposure.{name}", "read it off the camera")
        given = [v is not None for v in (self.f_number, self.time_s, self.iso)]
        if any(given) and not all(given):
            raise RigError(
                field="camera.exposure",
                wanted="all of f_number, time_s and iso, or none",
                got=[n for n, g in zip(("f_number", "time_s", "iso"), given, strict=True) if g],
                cure="add the missing ones, or give paper_level alone",
            )
        if self.paper_level is not None:
            checks.between(
                self.paper_level,
                0.01,
                2.0,
                "camera.exposure.paper_level",
                "leave it out to show the stock as light as it is",
            )
        checks.between(
            self.foil_level, 0.01, 100.0, "camera.exposure.foil_level", "0.9 keeps the metal whole"
        )

    def level_on(self, paper: Paper) -> float:
        """Return the level that the brightest paper gets.

        Left open, it is the stock's own reflectance in its brightest channel: what gives all
        light back would just clip there. So white stock is white (0.85 is L* 94) and black
        stock black.
        """
        if self.paper_level is not None:
            return self.paper_level
        return max(*paper.reflectance, LEAST_LEVEL)


@dataclass(frozen=True, kw_only=True)
class Body:
    """The front of the camera or phone, a dark rectangle behind the lens.

    The lens looks through it at `lens_offset_mm` from its middle (right, up).
    """

    width_mm: float = 140.0
    height_mm: float = 100.0
    reflectance: float = 0.04
    lens_offset_mm: tuple[float, float] = (0.0, 0.0)
    setback_mm: float = 2.0

    def __post_init__(self) -> None:
        checks.positive(self.width_mm, "camera.body.width_mm")
        checks.positive(self.height_mm, "camera.body.height_mm")
        checks.between(
            self.reflectance, 0.0, 1.0, "camera.body.reflectance", "0.04 is a black camera"
        )
        checks.between(self.setback_mm, 0.0, 500.0, "camera.body.setback_mm", "use 2")
        checks.count(self.lens_offset_mm, 2, "camera.body.lens_offset_mm")
        for value in self.lens_offset_mm:
            checks.between(value, -500.0, 500.0, "camera.body.lens_offset_mm", "measure it")


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A pinhole camera (sharpness is not simulated).

    Parameters
    ----------
    placement : Placement
        Position of the lens, and the point in the middle of the picture.
    focal_length_mm, sensor_width_mm, sensor_height_mm : float
        They set the field of view.
    pixels : (2,) int
        Columns and rows of the camera's own file; the predicted picture has its shape.
    polariser_rad : float or None
        Direction of the filter's axis in the picture, counter-clockwise from
        horizontal; None without a filter. [rad]
    white_balance_k : float or None
        Colour temperature the camera is set to; None: neutral for the rig's lamps.
    states_equivalent : bool
        Its maker states what its lens is like on a 35 mm camera, as those of phones do.
    tone_curve : {"plain", "phone"} or None
        How its pictures show tones; None: as a phone's where its sensor is as small as one's.
    held : Held or None
        What holds it; None: not said.
    locked : bool
        Planning leaves it as it is.
    """

    placement: Placement
    focal_length_mm: float = 50.0
    sensor_width_mm: float = 23.5
    sensor_height_mm: float = 15.6
    pixels: tuple[int, int] = (6000, 4000)
    body: Body | None = field(default_factory=Body)
    exposure: Exposure = field(default_factory=Exposure)
    polariser_rad: float | None = None
    white_balance_k: float | None = None
    states_equivalent: bool = False
    tone_curve: ToneCurve | None = None
    held: Held | None = None
    locked: bool = False

    def __post_init__(self) -> None:
        checks.positive(self.focal_length_mm, "camera.focal_length_mm", "read it off the lens")
        checks.positive(self.sensor_width_mm, "camera.sensor_width_mm")
        checks.positive(self.sensor_height_mm, "camera.sensor_height_mm")
        checks.count(self.pixels, 2, "camera.pixels")
        for count in self.pixels:
            checks.between(count, 16, 60000, "camera.pixels", "use the camera's picture size")
        if self.polariser_rad is not None:
            checks.angle(self.polariser_rad, "camera.polariser_deg")
        if self.white_balance_k is not None:
            checks.between(
                self.white_balance_k, 1500, 20000, "camera.white_balance_k", "5500 is daylight"
            )

    @property
    def equivalent_focal_length_mm(self) -> float:
        """Focal length that sees as much across the diagonal of a 35 mm camera's 36 x 24 mm.

        It is the conversion of camera makers for Exif's FocalLengthIn35mmFilm (guideline
        CIPA DCG-001, from memory).
        """
        return self.focal_length_mm / _diagonal_share(self.sensor_width_mm, self.sensor_height_mm)

    @property
    def has_small_sensor(self) -> bool:
        """Whether the sensor is as small as a phone's, however it is held."""
        return math.hypot(self.sensor_width_mm, self.sensor_height_mm) < SMALL_SENSOR_MM

    @property
    def lifts_tones(self) -> bool:
        """Whether its pictures show tones as a phone's do, see `optics.tone_curve`."""
        if self.tone_curve is None:
            return self.has_small_sensor
        return self.tone_curve == "phone"

    @property
    def tones(self) -> tuple[float, float]:
        """Its tone curve as more contrast (share) and lifted shadows (stops); none is 0, 0."""
        return (
            (tone_curve.CONTRAST_SHARE, tone_curve.LIFT_STOPS) if self.lifts_tones else (0.0, 0.0)
        )

    def shown(self, level: Floats) -> Floats:
        """Return levels (...) of light, 1 = clip, as its pictures show them."""
        return tone_curve.shown(level) if self.lifts_tones else level

    def light_of(self, level: Floats) -> Floats:
        """Return the light (...), 1 = clip, that its pictures show as these levels."""
        return tone_curve.light_of(level) if self.lifts_tones else level

    def exposed_more(self, stops: float, paper: Paper) -> Camera:
        """Return the camera set to so much more light: a longer time, or higher levels."""
        old = self.exposure
        if old.time_s is not None:
            return replace(self, exposure=replace(old, time_s=old.time_s * 2.0**stops))
        light = self.light_of(np.array([old.level_on(paper), old.foil_level])) * 2.0**stops
        white, metal = self.shown(light).tolist()
        new = replace(
            old, paper_level=min(max(white, 0.01), 2.0), foil_level=min(max(metal, 0.01), 100.0)
        )
        return replace(self, exposure=new)

    def half_angles_tan(self) -> tuple[float, float]:
        """Return tan of half the field of view, horizontal and vertical."""
        return (
            self.sensor_width_mm / (2 * self.focal_length_mm),
            self.sensor_height_mm / (2 * self.focal_length_mm),
        )

    def axes(self) -> tuple[Doubles, Doubles, Doubles]:
        """Return unit vectors (right, up, forward) of the picture, right = forward x up."""
        right, up, forward = self.placement.axes()
        return -right, up, forward

    def pixel_rays(self, rows: int, cols: int) -> Doubles:
        """Return unit directions through pixel centres.

        Parameters
        ----------
        rows, cols : int
            Size of the picture; row 0 is at the top.

        Returns
        -------
        (rows, cols, 3) float
        """
        right, up, forward = self.axes()
        tan_x, tan_y = self.half_angles_tan()
        x = (2 * (np.arange(cols) + 0.5) / cols - 1) * tan_x
        y = (1 - 2 * (np.arange(rows) + 0.5) / rows) * tan_y
        rays: Doubles = forward + x[None, :, None] * right + y[:, None, None] * up
        rays /= np.linalg.norm(rays, axis=-1, keepdims=True)
        return rays

    def project(self, points_mm: Doubles, rows: int, cols: int) -> Doubles:
        """Return fractional (row, column) of points; NaN behind the camera.

        Parameters
        ----------
        points_mm : (..., 3) float
        rows, cols : int
            Size of the picture.

        Returns
        -------
        (..., 2) float
        """
        right, up, forward = self.axes()
        tan_x, tan_y = self.half_angles_tan()
        offset = np.asarray(points_mm, float) - self.placement.position_mm
        depth = offset @ forward
        depth = np.where(depth > 1e-6, depth, math.nan)
        col = (offset @ right / (depth * tan_x) + 1) / 2 * cols - 0.5
        row = (1 - offset @ up / (depth * tan_y)) / 2 * rows - 0.5
        return np.stack([row, col], axis=-1)


def focal_length_of(
    equivalent_mm: float, *, sensor_width_mm: float, sensor_height_mm: float
) -> float:
    """Return the lens's own focal length from its 35 mm equivalent.

    >>> round(focal_length_of(26.0, sensor_width_mm=9.8, sensor_height_mm=7.3), 2)
    7.34
    """
    return equivalent_mm * _diagonal_share(sensor_width_mm, sensor_height_mm)


def _diagonal_share(width_mm: float, height_mm: float) -> float:
    return math.hypot(width_mm, height_mm) / FULL_FRAME_DIAGONAL_MM
