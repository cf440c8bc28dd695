"""Surroundings from a picture of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import RigError
from lightplan.scene import checks


@dataclass(frozen=True, kw_only=True, eq=False)
class Probe:
    """Surroundings from an equirectangular picture.

    Parameters
    ----------
    pixels : (rows, cols, 3) float
        Luminance per channel before `scale`; row 0 is straight up, the middle column
        lies towards +y (away from the maker), columns run clockwise seen from above.
    scale : float
        cd/m2 for one unit of the picture.
    turn_rad : float
        Turn about the vertical, counter-clockwise seen from above. [rad]
    """

    pixels: Doubles
    scale: float = 1.0
    turn_rad: float = 0.0
    file: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "pixels", read_only(self.pixels))
        right = self.pixels.ndim == 3 and self.pixels.shape[-1] == 3 and self.pixels.size
        if not (right and np.isfinite(self.pixels).all() and self.pixels.min() >= 0):
            raise RigError(
                field="room.probe",
                wanted="rows x columns x 3 values of 0 or more",
                got=f"shape {self.pixels.shape}",
                cure="save the picture again",
            )
        checks.positive(self.scale, "room.probe.scale_cd_m2")
        checks.angle(self.turn_rad, "room.probe.turn_deg")
