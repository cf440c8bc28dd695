"""The light of rigs like one, each worked out once, two at a time.

What is asked of a rig that is off its plan hangs on no photograph: it can be worked out while one
is still being looked at, and serves all that are taken of a set.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.compiled import two_at_a_time
from lightplan.errors import RigError
from lightplan.light import Detail, Engine
from lightplan.scene.slips import slipped

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from lightplan.arrays import Doubles, Singles
    from lightplan.estimate.solving import Name
    from lightplan.light.lattice import Lattice
    from lightplan.scene import Rig

    Key = tuple[tuple[Name, float], ...]
    Lit = tuple[tuple[str, ...], Singles, Singles]
    """Names of lamps and surroundings; light of paper and foil, (lights, rows, cols, 3) each."""

UNIT_ROOM = 1.0  # cd/m2 of surroundings that are worked out where the plan has none
GRID_LONG_SIDE = 64
FINE_RAYS = 200_000
BRUSHED = 0.15  # roughness from which the foil's rays spread so far that more are needed
SLOPED = ("x_mm", "y_mm", "z_mm", "turn_deg", "lean_deg", "bow_mm")
_GEOMETRY = (*SLOPED, "missing")


def detail_for(rig: Rig) -> Detail:
    """Return how finely light is worked out: as the search for a plan, foil a little finer."""
    quick = Detail.quick(camera_rows=8, camera_cols=8)
    rays = 16_000 if max(rig.sheet.foil.roughness) < BRUSHED else 48_000
    spots = Detail().foil_spots if rig.sheet.foil.grating is not None else 16
    return replace(
        quick, sheet_long_side=GRID_LONG_SIDE, cells=5, near=1.0, texels=24, direct_long_side=17,
        bounce_long_side=7, lamp_spots=21, cell_lamp_spots=8, penumbra_spots=89, sky_rays=34,
        cell_sky_rays=13, foil_rays=rays, foil_spots=spots, hidden_spots=0, mirror_rounds=0,
        foil_long_side=11, steps_per_blur=1.2,
    )  # fmt: skip


def fine_detail(rig: Rig) -> Detail:
    """Return how finely light is worked out where small differences of it are asked for."""
    rays = FINE_RAYS * (1 if max(rig.sheet.foil.roughness) < BRUSHED else 2)
    return replace(
        detail_for(rig), foil_rays=rays, foil_spots=64, texels=48, cells=8,
        foil_long_side=16, steps_per_blur=1.7,
    )  # fmt: skip


class LightStore:
    """Asks the light engine about one rig and those that are a little off it.

    Each rig is followed from the planned one by an engine of its own: what is found does not
    hang on the order in which rigs are asked for, nor on which thread asks.
    """

    def __init__(self, rig: Rig, detail: Detail | None = None) -> None:
        self.planned = rig
        self._detail = detail_for(rig) if detail is None else detail
        self._room = rig.room
        if _is_dark(rig):  # surroundings that can be scaled; one object, as engines ask for it
            self._room = replace(rig.room, ambient_cd_m2=(UNIT_ROOM,) * 3)
        self._engine = Engine(self._with_room(rig), self._detail)
        self._kept: dict[Key, Lit | None] = {}

    @property
    def grid(self) -> Lattice:
        """Where light is worked out on the sheet."""
        return self._engine.grid

    @property
    def room(self) -> Doubles:
        """The planned surroundings in units of those that are worked out, (3,)."""
        planned = np.asarray(self.planned.room.ambient_cd_m2, float)
        if self.planned.room.probe is not None:
            return np.ones(3)
        return np.where(_is_dark(self.planned), planned / UNIT_ROOM, 1.0)

    @property
    def room_cd_m2(self) -> Doubles:
        """What one unit of surroundings is, (3,)."""
        planned = np.asarray(self.planned.room.ambient_cd_m2, float)
        if self.planned.room.probe is not None or _is_dark(self.planned):
            return np.full(3, UNIT_ROOM)
        return planned

    @property
    def least_room(self) -> Doubles:
        """How far the surroundings can be below those planned, in the same units, (3,), negative.

        A measured room is as bright as it was measured.
        """
        return np.zeros(3) if self.planned.room.probe is not None else -self.room

    def of(self, values: Mapping[Name, float]) -> Lit | None:
        """Return the light of the rig off the plan by some values; None where that cannot be."""
        key = key_of(values)
        if key not in self._kept:
            self._kept[key] = self._off_plan(key)
        return self._kept[key]

    def look_ahead(self, wanted: Iterable[Mapping[Name, float]]) -> None:
        """Work out many, two at a time."""
        keys = [key for key in dict.fromkeys(map(key_of, wanted)) if key not in self._kept]
        found = two_at_a_time(self._off_plan, keys)
        self._kept |= dict(zip(keys, found, strict=True))

    def lit(self, rig: Rig) -> Lit:
        """Return the light of a rig like the planned one."""
        return self._asked(self._engine.fork(), rig)

    def lit_with_more(self, rig: Rig) -> Lit:
        """Return the light of the planned rig with other lamps besides."""
        return self._asked(self._engine.fork(), rig)

    def _off_plan(self, key: Key) -> Lit | None:
        try:
            rig = slipped(self.planned, dict(key))
        except RigError:
            return None
        return self.lit(rig)

    def _with_room(self, rig: Rig) -> Rig:
        return rig if rig.room is self._room else replace(rig, room=self._room)

    def _asked(self, engine: Engine, rig: Rig) -> Lit:
        found = engine.per_lamp(self._with_room(rig))
        return found.names, found.paper, found.foil


def key_of(values: Mapping[Name, float]) -> Key:
    """Return what light is kept by: all but powers and the room's."""
    return tuple(sorted((n, round(v, 3)) for n, v in values.items() if n[1] in _GEOMETRY))


def _is_dark(rig: Rig) -> bool:
    return rig.room.probe is None and max(rig.room.ambient_cd_m2) < 0.05 * UNIT_ROOM
