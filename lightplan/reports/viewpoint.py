"""Where the 3-D picture is taken from: far enough to hold everything."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.reports.set_model import SetModel
    from lightplan.scene import Card, Lamp, Rig

VIEWS: dict[str, tuple[float, float, float]] = {
    "from the right": (0.9, -1.0, 0.75),
    "from the left": (-0.9, -1.0, 0.75),
    "from your place": (0.0, -1.0, 0.45),
    "from above": (0.0, -0.001, 1.0),
    "from the side": (1.0, 0.0, 0.12),
    "from low on the right": (0.9, -1.0, 0.3),
    "from low on the left": (-0.9, -1.0, 0.3),
}
"""Directions from the middle of the set to the eye."""
FROM_CORNERS = ("from the right", "from the left", "from low on the right", "from low on the left")
"""Views in which no side is seen straight on."""


@dataclass(frozen=True, eq=False)
class Viewpoint:
    """An eye that looks at a place, with its upright field of view.

    Parameters
    ----------
    eye, focus, up : (3,) float
        mm; `up` is a direction.
    angle_rad : float
        Whole vertical field of view. [rad]
    """

    eye: Doubles
    focus: Doubles
    up: Doubles
    angle_rad: float

    @classmethod
    def fit(
        cls,
        model: SetModel,
        view: str,
        *,
        aspect: float,
        angle_rad: float = math.radians(28),
        margin: float = 1.08,
    ) -> Viewpoint:
        """Return the nearest eye in a direction of `VIEWS` that sees the whole set.

        Parameters
        ----------
        aspect : float
            Width over height of the picture.
        """
        points = model.points
        focus = (points.min(axis=0) + points.max(axis=0)) / 2
        back = np.array(VIEWS[view]) / np.linalg.norm(VIEWS[view])
        right, up = _frame(back)
        offset = points - focus
        tan = math.tan(angle_rad / 2) / margin
        needed = offset @ back + np.maximum(
            np.abs(offset @ right) / (tan * aspect), np.abs(offset @ up) / tan
        )
        return cls(focus + float(needed.max()) * back, focus, up, angle_rad)

    def project(self, points: Doubles, rows: int, cols: int) -> Doubles:
        """Return (row, column) of points (n, 3) in a picture; NaN behind the eye."""
        back = (self.eye - self.focus) / np.linalg.norm(self.eye - self.focus)
        right, up = _frame(back)
        offset = np.asarray(points, float) - self.eye
        depth = -offset @ back
        depth = np.where(depth > 1e-6, depth, np.nan)
        scale = rows / (2 * math.tan(self.angle_rad / 2))
        col = cols / 2 + scale * (offset @ right) / depth
        row = rows / 2 - scale * (offset @ up) / depth
        return np.stack([row, col], axis=1)


def telling_view(rig: Rig) -> str:
    """Return the view that shows most of the faces of sheet, lamps and cards.

    A card that is seen along its edge is a line in the picture, and nobody builds from a line.
    """
    return max(FROM_CORNERS, key=lambda name: _shown(rig, np.array(VIEWS[name])))


def telling_turn(rig: Rig) -> tuple[float, float]:
    """Return how far the telling view is turned to the right, and raised, in radians."""
    x, y, z = VIEWS[telling_view(rig)]
    return math.atan2(x, -y), math.atan2(z, math.hypot(x, y))


def _shown(rig: Rig, way: Doubles) -> float:
    """Return how much of the fronts is seen from a direction: backs only hide what is behind."""
    back = way / np.linalg.norm(way)
    found = math.sqrt(rig.sheet.width_mm * rig.sheet.height_mm) * float(back[2])
    things: tuple[Lamp | Card, ...] = (*rig.lamps, *rig.cards)
    for thing in things:
        front = max(float(thing.placement.axes()[2] @ back), 0.0)
        found += math.sqrt(thing.width_mm * thing.height_mm) * front
    return found


def _frame(back: Doubles) -> tuple[Doubles, Doubles]:
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    return right, np.cross(back, right)
