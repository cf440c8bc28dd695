"""Light that comes from nothing in the rig."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.scene.lamps import Lamp, Output
from lightplan.scene.placement import Placement

if TYPE_CHECKING:
    from lightplan.arrays import Vector


@dataclass(frozen=True, kw_only=True)
class Foreign:
    """Light from something that is not in the rig.

    Parameters
    ----------
    direction : (3,) float
        Unit vector from the sheet's middle.
    distance_mm : float
        At which it is drawn; a photograph hardly tells it.
    width_mm : float
        Rough size at that distance.
    luminance_cd_m2 : (3,) float
        Of its face, per channel.
    where_mm : (2,) float or None
        Place on the sheet where the foil mirrors it; None where it lights the paper alone.
    cost : float
        Points that it costs.
    sure : bool
        The photograph tells its direction; else it is the likeliest of some.
    """

    direction: Vector
    distance_mm: float
    width_mm: float
    luminance_cd_m2: Vector
    where_mm: tuple[float, float] | None
    cost: float
    sure: bool = True

    @property
    def position_mm(self) -> Vector:
        """Where it is drawn."""
        x, y, z = (self.distance_mm * v for v in self.direction)
        return (x, y, z)

    def lamp(self, name: str = "not in the rig") -> Lamp:
        """Return it as a bright face without a body."""
        level = max(max(self.luminance_cd_m2), 1e-6)
        return Lamp(
            name=name,
            placement=Placement(self.position_mm),
            width_mm=self.width_mm,
            height_mm=self.width_mm,
            output=Output(value=level, unit="cd/m2"),
            is_window=True,
        )
