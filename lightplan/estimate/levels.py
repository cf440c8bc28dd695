"""Predicted levels in the cells of a photograph, per lamp, for any rig like the planned one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.seen import FLOOR, SeenSheet
from lightplan.light import Detail, Engine
from lightplan.light.lattice import Lattice, Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.scene import Rig

UNIT_ROOM = 1.0  # cd/m2 of surroundings that are worked out where the plan has none
_WITHIN = 0.5  # of half a cell: where its level is read
GRID_LONG_SIDE = 64
FINE_RAYS = 200_000
BRUSHED = 0.15  # roughness from which the foil's rays spread so far that more are needed


def detail_for(rig: Rig) -> Detail:
    """Return how finely light is worked out: as the search for a plan, foil a little finer."""
    quick = Detail.quick(camera_rows=8, camera_cols=8)
    rays = 16_000 if max(rig.sheet.foil.roughness) < BRUSHED else 48_000
    spots = Detail().foil_spots if rig.sheet.foil.grating is not None else 16
    return replace(
        quick, sheet_long_side=GRID_LONG_SIDE, cells=5, near=1.0, texels=24, direct_long_side=17,
        bounce_long_side=7, lamp_spots=21, cell_lamp_spots=8, penumbra_spots=89, sky_rays=34,
        cell_sky_rays=13, foil_rays=rays, foil_spots=spots, hidden_spots=0, mirror_rounds=0,
    )  # fmt: skip


def fine_detail(rig: Rig) -> Detail:
    """Return how finely light is worked out where small differences of it are asked for."""
    rays = FINE_RAYS * (1 if max(rig.sheet.foil.roughness) < BRUSHED else 2)
    return replace(detail_for(rig), foil_rays=rays, foil_spots=64, texels=48, cells=8)


@dataclass(frozen=True, eq=False)
class CellLight:
    """Light of each lamp alone as planned, then of unit surroundings, in n cells.

    Parameters
    ----------
    names : tuple of str
        Lamps in the rig's order, then "surroundings".
    light : (lamps + 1, n, 3) float
        cd/m2, powers as the plan sets them.
    """

    names: tuple[str, ...]
    light: Doubles

    def mixed(self, stops: dict[str, float], room: Doubles) -> Doubles:
        """Return light (n, 3) with powers off by stops and a room of so many units (3,)."""
        powers = np.array([2.0 ** stops.get(name, 0.0) for name in self.names[:-1]])
        lamps = np.tensordot(powers, self.light[:-1], 1)
        return np.asarray(lamps + room * self.light[-1])


class Levels:
    """Asks the light engine for the cells of one photograph."""

    def __init__(self, rig: Rig, seen: SeenSheet, detail: Detail | None = None) -> None:
        self.planned, self._seen = rig, seen
        self._detail = detail_for(rig) if detail is None else detail
        self._room = rig.room
        if _is_dark(rig):  # surroundings that can be scaled; one object, as engines ask for it
            self._room = replace(rig.room, ambient_cd_m2=(UNIT_ROOM,) * 3)
        self._engine = Engine(self._with_room(rig), self._detail)
        self._readings = _readings(self._engine.grid, seen)
        self._more: Engine | None = None
        self._second: Engine | None = None

    @property
    def room(self) -> Doubles:
        """The planned surroundings in units of what `CellLight` holds, (3,)."""
        planned = np.asarray(self.planned.room.ambient_cd_m2, float)
        if self.planned.room.probe is not None:
            return np.ones(3)
        return np.where(_is_dark(self.planned), planned / UNIT_ROOM, 1.0)

    def light(self, rig: Rig) -> CellLight:
        """Return the light of a rig with the planned one's lamps, cards and shells."""
        return self._of(self._engine, rig)

    def light_anew(self, rig: Rig) -> CellLight:
        """Return the light of a rig that has other things than the planned one."""
        return self._of(Engine(self._with_room(rig), self._detail), rig)

    def lights(self, rigs: Sequence[Rig], anew: Sequence[bool]) -> list[CellLight]:
        """Return `light` of many rigs, or `light_anew`: two at a time.

        Every other rig goes to an engine of its own, whatever is done first: lights agree only
        to rounding between engines that came from different rigs.
        """
        if len(rigs) < 2:
            return [self._one(rig, self._engine, new) for rig, new in zip(rigs, anew, strict=True)]
        if self._second is None:
            self._second = Engine(self._with_room(self.planned), self._detail)
        second, found = self._second, {}
        jobs = list(enumerate(zip(rigs, anew, strict=True)))

        def some(engine: Engine, first: int) -> None:
            for i, (rig, new) in jobs[first::2]:
                found[i] = self._one(rig, engine, new)

        with ThreadPoolExecutor(1) as other:  # loops over rays let go of the interpreter
            beside = other.submit(some, second, 1)
            some(self._engine, 0)
            beside.result()
        return [found[i] for i in range(len(rigs))]

    def _one(self, rig: Rig, engine: Engine, anew: bool) -> CellLight:
        return self.light_anew(rig) if anew else self._of(engine, rig)

    def light_with_more(self, rig: Rig) -> CellLight:
        """Return the light of the planned rig with other lamps besides, engine kept."""
        if self._more is None:
            self._more = Engine(self._with_room(rig), self._detail)
        return self._of(self._more, rig)

    def _with_room(self, rig: Rig) -> Rig:
        return rig if rig.room is self._room else replace(rig, room=self._room)

    def _read(self, layer: Singles) -> Doubles:
        """Return the mean level of a layer (rows, cols, 3) in each cell, (n, 3)."""
        return np.asarray(sum(one.read(layer).astype(float) for one in self._readings) / 4)

    def _of(self, engine: Engine, rig: Rig) -> CellLight:
        found = engine.per_lamp(self._with_room(rig))
        trims = [2.0**lamp.trim_stops if lamp.on else 0.0 for lamp in rig.lamps]
        powers = np.array([*trims, 1.0])[:, None, None]
        paper, foil = (
            np.stack([self._read(one) for one in layer]) for layer in (found.paper, found.foil)
        )
        own = np.where(self._seen.is_foil[:, None], foil, paper)
        other = np.where(self._seen.is_foil[:, None], paper, foil)
        pure = self._seen.purity[:, None]
        return CellLight(found.names, powers * (pure * own + (1 - pure) * other))


def to_stops(light: Doubles, clip_cd_m2: float) -> Doubles:
    """Return light as stops below the clip level, with the floor that photographs have."""
    return np.asarray(np.log2(np.maximum(light, 0.0) / clip_cd_m2 + FLOOR))


def _is_dark(rig: Rig) -> bool:
    return rig.room.probe is None and max(rig.room.ambient_cd_m2) < 0.05 * UNIT_ROOM


def _readings(grid: Lattice, seen: SeenSheet) -> tuple[Reading, ...]:
    """Return how to read the sheet's grid in each cell: at four places of it."""
    offset = _WITHIN * seen.spread_mm
    return tuple(
        Reading.of(grid, np.stack([seen.x_mm + a * offset, seen.y_mm + b * offset], axis=1))
        for a in (-1, 1)
        for b in (-1, 1)
    )
