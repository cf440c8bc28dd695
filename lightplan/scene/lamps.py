"""Lamps and windows: shape, output, colour."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias, get_args

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import RigError
from lightplan.scene import checks
from lightplan.scene.placement import Placement

LampShape: TypeAlias = Literal["rectangle", "disk", "bulb"]
OutputUnit: TypeAlias = Literal["cd/m2", "lm", "lx at 1 m", "guide number", "cd"]
LAMP_SHAPES: tuple[LampShape, ...] = get_args(LampShape)
OUTPUT_UNITS: tuple[OutputUnit, ...] = get_args(OutputUnit)


@dataclass(frozen=True, kw_only=True)
class Output:
    """How bright a lamp is at full power.

    Parameters
    ----------
    value : float
        The figure on the box.
    unit : str
        "cd/m2" luminance of its face, "lm" lumens, "lx at 1 m" on its axis, "guide
        number" (metres, ISO 100), or "cd" on its axis.
    """

    value: float
    unit: OutputUnit = "lm"

    def __post_init__(self) -> None:
        checks.positive(self.value, "output.value", "read it off the lamp's box")
        checks.one_of(self.unit, OUTPUT_UNITS, "output.unit")


@dataclass(frozen=True, kw_only=True, eq=False)
class AngularProfile:
    """Luminous intensity against direction, from a photometric (IES) file.

    Parameters
    ----------
    vertical_rad : (v,) float
        Angles from the lamp's axis, ascending. [rad]
    horizontal_rad : (h,) float
        Angles about the axis, ascending from 0; one value for a symmetric lamp. [rad]
    candela : (h, v) float
        Intensities. [cd]
    file : str
        The file's name, to show.
    """

    vertical_rad: Doubles
    horizontal_rad: Doubles
    candela: Doubles
    file: str = ""

    def __post_init__(self) -> None:
        for name in ("vertical_rad", "horizontal_rad", "candela"):
            object.__setattr__(self, name, read_only(getattr(self, name)))
        for name in ("vertical_rad", "horizontal_rad"):
            angles = getattr(self, name)
            if angles.ndim != 1 or not angles.size or not (np.diff(angles) > 0).all():
                raise RigError(
                    field=f"ies.{name}", wanted="ascending angles", got=angles,
                    cure="get the photometric file again",
                )  # fmt: skip
        shape = (len(self.horizontal_rad), len(self.vertical_rad))
        right = self.candela.shape == shape and np.isfinite(self.candela).all()
        if not (right and self.candela.min() >= 0 and self.candela.max() > 0):
            raise RigError(
                field="ies.candela", wanted=f"{shape[0]} x {shape[1]} values, not all 0",
                got=f"shape {self.candela.shape}", cure="get the photometric file again",
            )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Lamp:
    """A lamp or window: a uniform bright face that shines to its front only.

    Parameters
    ----------
    name : str
        As the maker calls it; unique in the rig.
    placement : Placement
        Centre of its face and where it points.
    shape : str
        "rectangle" (softbox, strip, panel, window), "disk" or "bulb" (bare, shines all
        round).
    width_mm, height_mm : float
        Size of the face; a disk or bulb uses `width_mm` as its diameter.
    output : Output
        At full power.
    trim_stops : float
        Power setting: -1 halves the light.
    on : bool
        Switched on.
    colour_k : float or None
        Colour temperature [K]; None: exactly as the camera's white balance.
    is_window : bool
        A window: it lights, but cannot be moved or dimmed, and it has no body in the room.
    profile : AngularProfile or None
        How the light is spread over directions; None: as from a matte face.
    """

    name: str
    placement: Placement
    shape: LampShape = "rectangle"
    width_mm: float = 600.0
    height_mm: float = 600.0
    output: Output = Output(value=2000.0, unit="lm")
    trim_stops: float = 0.0
    on: bool = True
    colour_k: float | None = None
    is_window: bool = False
    profile: AngularProfile | None = None

    def __post_init__(self) -> None:
        checks.one_of(self.shape, LAMP_SHAPES, "shape")
        checks.positive(self.width_mm, "width_mm", "measure the lit face")
        checks.positive(self.height_mm, "height_mm", "measure the lit face")
        checks.between(self.trim_stops, -20.0, 20.0, "trim_stops", "0 is full power")
        if self.colour_k is not None:
            checks.between(self.colour_k, 1500, 20000, "colour_k", "5500 is daylight")
