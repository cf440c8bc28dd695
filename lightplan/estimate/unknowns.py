"""What can differ from the plan, how far a hand misses it, and how far a slip goes.

Dimensions and hand's errors are those that planning allows for. The sizes of slips are common
practice, no source: what makers report to have found after an evening of test shots.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.scene.setting_errors import SettingErrors, error_dimensions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig
    from lightplan.scene.slips import SlipUnit

HAND = SettingErrors()
# One standard deviation of a slip, by what is off.
_SLIPS = {
    "x_mm": 70.0,
    "y_mm": 70.0,
    "z_mm": 70.0,
    "turn_deg": 8.0,
    "lean_deg": 8.0,
    "power_stops": 1.0,
    "bow_mm": 1.6,
}
CAMERA_SLIP_MM = 45.0
STEP = {"mm": 10.0, "deg": 1.5}
BOW_STEP = 0.4
"""By which slopes of the light are taken."""
HAND_SHARE = 0.6
"""A hand's error is spread evenly up to its size: this much of it is its standard deviation."""


@dataclass(frozen=True)
class Unknown:
    """One dimension of the rig as built.

    Parameters
    ----------
    element, dimension : str
    hand, slip : float
        Standard deviation of a hand's error and of a slip, in the dimension's unit.
    """

    element: str
    dimension: str
    hand: float
    slip: float

    @property
    def unit(self) -> SlipUnit:
        """Unit of its values."""
        end = self.dimension.rpartition("_")[2]
        return end if end in ("mm", "deg", "stops") else ""  # type: ignore[return-value]


def unknowns_of(rig: Rig, steady: float = 1.0) -> tuple[Unknown, ...]:
    """Return everything that moves the light on the sheet, in a fixed order; powers apart.

    `steady` is the share of a hand's error that is expected where nobody built anew.
    """
    found = []
    for one in error_dimensions(rig, HAND):
        if one.dimension == "power_stops":
            continue
        slip = CAMERA_SLIP_MM if one.element == "camera" else _SLIPS[one.dimension]
        found.append(Unknown(one.element, one.dimension, steady * HAND_SHARE * one.size, slip))
    return tuple(found)


def powers_of(rig: Rig, steady: float = 1.0) -> tuple[Unknown, ...]:
    """Return the lamps' powers; a window has none that a hand sets."""
    hand = steady * HAND_SHARE * HAND.power_stops
    return tuple(
        Unknown(lamp.name, "power_stops", 0.5 if lamp.is_window else hand, _SLIPS["power_stops"])
        for lamp in rig.lamps
        if lamp.on
    )


def steps_of(unknowns: Sequence[Unknown]) -> list[dict[Name, float]]:
    """Return what rigs are off the plan for the slopes of everything."""
    return [{(u.element, u.dimension): step_of(u)} for u in unknowns]


def step_of(one: Unknown) -> float:
    """Return by how much the light is followed for the slope of one dimension."""
    return BOW_STEP if one.dimension == "bow_mm" else STEP[one.unit]
