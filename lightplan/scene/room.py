"""The room: table, walls, ceiling, the light that is there anyway, and how far one can reach."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.scene import checks

if TYPE_CHECKING:
    from lightplan.scene.probe import Probe


@dataclass(frozen=True, kw_only=True)
class Table:
    """The table top the sheet lies on, `drop_mm` below the sheet."""

    width_mm: float = 1200.0
    depth_mm: float = 800.0
    reflectance: tuple[float, float, float] = (0.4, 0.4, 0.4)
    drop_mm: float = 1.0

    def __post_init__(self) -> None:
        checks.positive(self.width_mm, "room.table.width_mm")
        checks.positive(self.depth_mm, "room.table.depth_mm")
        checks.positive(self.drop_mm, "room.table.drop_mm", "use 1")
        checks.triple(self.reflectance, 0.0, 1.0, "room.table.reflectance")


@dataclass(frozen=True, kw_only=True)
class Walls:
    """Four walls, floor and ceiling around the table.

    Parameters
    ----------
    width_mm, depth_mm : float
        Of the room, which is centred on the sheet.
    ceiling_mm, floor_mm : float
        Height of the ceiling above the sheet, and of the sheet above the floor.
    """

    width_mm: float = 4000.0
    depth_mm: float = 4000.0
    ceiling_mm: float = 1700.0
    floor_mm: float = 750.0
    walls: tuple[float, float, float] = (0.5, 0.5, 0.5)
    ceiling: tuple[float, float, float] = (0.7, 0.7, 0.7)
    floor: tuple[float, float, float] = (0.2, 0.2, 0.2)

    def __post_init__(self) -> None:
        for name in ("width_mm", "depth_mm", "ceiling_mm", "floor_mm"):
            checks.positive(getattr(self, name), f"room.walls.{name}")
        for name in ("walls", "ceiling", "floor"):
            checks.triple(getattr(self, name), 0.0, 1.0, f"room.walls.{name}")


@dataclass(frozen=True, kw_only=True)
class Reach:
    """Limits for planning: how high and how far things can stand, seen from the sheet."""

    lowest_mm: float = 0.0
    highest_mm: float = 1600.0
    farthest_mm: float = 1800.0

    def __post_init__(self) -> None:
        checks.between(self.lowest_mm, 0.0, 5000.0, "room.reach.lowest_mm", "use 0")
        checks.positive(self.highest_mm, "room.reach.highest_mm")
        checks.positive(self.farthest_mm, "room.reach.farthest_mm")
        if self.lowest_mm >= self.highest_mm:
            raise RigError(
                field="room.reach.lowest_mm",
                wanted="below highest_mm",
                got=self.lowest_mm,
                cure="use 0",
            )


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """Everything around the rig.

    Parameters
    ----------
    ambient_cd_m2 : (3,) float
        Luminance per channel of the surroundings where nothing else is seen.
    """

    ambient_cd_m2: tuple[float, float, float] = (0.0, 0.0, 0.0)
    probe: Probe | None = None
    table: Table | None = field(default_factory=Table)
    walls: Walls | None = None
    reach: Reach = field(default_factory=Reach)

    def __post_init__(self) -> None:
        checks.count(self.ambient_cd_m2, 3, "room.ambient_cd_m2")
        for value, channel in zip(self.ambient_cd_m2, "rgb", strict=True):
            checks.between(value, 0.0, 1e7, f"room.ambient_cd_m2.{channel}", "0 is a dark room")
