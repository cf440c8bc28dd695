"""The room's own light as an unknown: how far it can be off the plan's, and where the fit begins.

It is told in `FitSearch.room_unit`s by channel.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.estimate.cell_levels import CellLevels
    from lightplan.estimate.solving import Name

ROOM_CHANNELS = ("red", "green", "blue")
BEGUN = (1.0, 6.0)  # units more, from which the fit begins
DARKER = 0.7  # share of the planned light that is held to be missing first
LIT = 0.01  # of what clips, from which a room's own light may be missed


def least_room(levels: CellLevels, unit: float) -> dict[Name, float]:
    """Return how far the room's light can be below that planned, by channel."""
    least = levels.least_room / unit
    return {("room", c): float(v) for c, v in zip(ROOM_CHANNELS, least, strict=True)}


def room_starts(levels: CellLevels, unit: float, clip_cd_m2: float) -> list[dict[Name, float]]:
    """Return from where a room's light is fitted: brighter, and darker where it is lit."""
    least = least_room(levels, unit)
    starts = [dict.fromkeys(least, start) for start in BEGUN]
    planned = float(np.max(-levels.least_room * levels.room_cd_m2))
    if planned >= LIT * clip_cd_m2:
        starts.append({name: DARKER * value for name, value in least.items()})
    return starts
