"""Lamps and windows: shape, output, colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal, TypeAlias, get_args

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import RigError
from lightplan.scene import checks

if TYPE_CHECKING:
    from lightplan.optics.photometry import OutputUnit as LightUnit
    from lightplan.scene.holding import Held
    from lightplan.scene.placement import Placement

LampShape: TypeAlias = Literal["rectangle", "disk", "bulb"]
OutputUnit: TypeAlias = Literal["cd/m2", "lm", "lx at 1 m", "guide number", "cd", "W"]
LAMP_SHAPES: tuple[LampShape, ...] = get_args(LampShape)
OUTPUT_UNITS: tuple[OutputUnit, ...] = get_args(OutputUnit)
LED_LUMENS_PER_WATT = (50.0, 110.0)
"""What the face of an LED lamp gives for each watt that its box names: the bare diodes give 80
to 130, drivers, softbox and diffusion take up to a half (from memory). [lm/W]"""


@dataclass(frozen=True, kw_only=True)
class Output:
    """How bright a lamp is at full power.

    Parameters
    ----------
    value : float
        The figure on the box.
    unit : str
        "cd/m2" luminance of its face, "lm" lumens, "lx at 1 m" on its axis, "guide
        number" (metres, ISO 100), "cd" on its axis, or "W" the power that an LED draws.
    lumens_per_watt : (2,) float
        Of an output in watts: from how many to how many its face gives for each. [lm/W]
    """

    value: float
    unit: OutputUnit = "lm"
    lumens_per_watt: tuple[float, float] = LED_LUMENS_PER_WATT

    def __post_init__(self) -> None:
        checks.positive(self.value, "output.value", "read it off the lamp's box")
        checks.one_of(self.unit, OUTPUT_UNITS, "output.unit")
        checks.count(self.lumens_per_watt, 2, "lumens_per_watt")
        for figure in self.lumens_per_watt:
            checks.between(figure, 1.0, 683.0, "lumens_per_watt", "an LED has 50 to 110")
        if self.lumens_per_watt[0] > self.lumens_per_watt[1]:
            raise RigError(
                field="lumens_per_watt",
                wanted="the lower figure first",
                got=list(self.lumens_per_watt),
                cure="swap them",
            )

    def of_light(self) -> tuple[float, LightUnit]:
        """Return figure and unit of its light: of watts, the middle of their range in stops.

        >>> Output(value=60, unit="W", lumens_per_watt=(50, 200)).of_light()
        (6000.0, 'lm')
        """
        if self.unit != "W":
            return self.value, self.unit
        low, high = self.lumens_per_watt
        return self.value * math.sqrt(low * high), "lm"

    def unknown_stops(self) -> float:
        """Return by how much its light may be more or less than `of_light` says.

        >>> Output(value=60, unit="W", lumens_per_watt=(50, 200)).unknown_stops()
        1.0
        """
        low, high = self.lumens_per_watt
        return math.log2(high / low) / 2 if self.unit == "W" else 0.0


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
                    field=f"ies.{name}",
                    wanted="ascending angles",
                    got=angles,
                    cure="get the photometric file again",
                )
        shape = (len(self.horizontal_rad), len(self.vertical_rad))
        right = self.candela.shape == shape and np.isfinite(self.candela).all()
        if not (right and self.candela.min() >= 0 and self.candela.max() > 0):
            raise RigError(
                field="ies.candela",
                wanted=f"{shape[0]} x {shape[1]} values, not all 0",
                got=f"shape {self.candela.shape}",
                cure="get the photometric file again",
            )


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
    depth_mm : float or None
        From its lit face to its back; None: as is usual for its size.
    held : Held or None
        What holds it; None: not said.
    locked : bool
        Planning leaves it as it is.
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
    depth_mm: float | None = None
    held: Held | None = None
    locked: bool = False

    def __post_init__(self) -> None:
        if self.depth_mm is not None:
            checks.positive(self.depth_mm, "depth_mm", "measure from its face to its back")
        checks.one_of(self.shape, LAMP_SHAPES, "shape")
        checks.positive(self.width_mm, "width_mm", "measure the lit face")
        checks.positive(self.height_mm, "height_mm", "measure the lit face")
        checks.between(self.trim_stops, -20.0, 20.0, "trim_stops", "0 is full power")
        if self.colour_k is not None:
            checks.between(self.colour_k, 1500, 20000, "colour_k", "5500 is daylight")
