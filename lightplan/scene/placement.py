"""Where a flat thing stands and which way it faces."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Doubles, Vector, vector
from lightplan.errors import RigError
from lightplan.scene import checks


@dataclass(frozen=True)
class Placement:
    """Centre of a flat thing, the point it faces, and its turn about that line.

    Parameters
    ----------
    position_mm : (3,) float
        Centre of the face, mm, from the middle of the sheet.
    aim_mm : (3,) float
        A point straight in front of the face.
    roll_rad : float
        Turn about the facing line, counter-clockwise as seen by someone who looks at its
        front. [rad]
    """

    position_mm: Vector
    aim_mm: Vector = (0.0, 0.0, 0.0)
    roll_rad: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "position_mm", vector(self.position_mm, "position_mm"))
        object.__setattr__(self, "aim_mm", vector(self.aim_mm, "aim_mm"))
        checks.angle(self.roll_rad, "roll_deg")
        if math.dist(self.position_mm, self.aim_mm) < 1e-6:
            raise RigError(
                field="aim_mm",
                wanted="another point than position_mm",
                got=self.aim_mm,
                cure="aim at the sheet, [0, 0, 0]",
            )

    def axes(self) -> tuple[Doubles, Doubles, Doubles]:
        """Return unit vectors (right, up, normal), right = up x normal.

        `up` leans towards the world's z; for a face that looks straight up or down it
        leans towards the world's y (away from the maker).
        """
        (a, b, c), (x, y, z) = self.position_mm, self.aim_mm
        away = math.dist(self.position_mm, self.aim_mm)
        nx, ny, nz = (x - a) / away, (y - b) / away, (z - c) / away
        # the part across the normal of the world's z, or of its y for a level face
        up = (-nz * nx, -nz * ny, 1 - nz * nz)
        if abs(nz) > 1.0 - 1e-9:
            up = (-ny * nx, 1 - ny * ny, -ny * nz)
        size = math.hypot(*up)
        ux, uy, uz = (v / size for v in up)
        right = np.array([uy * nz - uz * ny, uz * nx - ux * nz, ux * ny - uy * nx])
        return self._rolled(right, np.array([ux, uy, uz]), np.array([nx, ny, nz]))

    def _rolled(
        self, right: Doubles, up: Doubles, normal: Doubles
    ) -> tuple[Doubles, Doubles, Doubles]:
        cosine, sine = math.cos(self.roll_rad), math.sin(self.roll_rad)
        return cosine * right + sine * up, cosine * up - sine * right, normal
