"""Predicted levels in the cells of a photograph, per lamp, for any rig like the planned one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.light_store import LightStore
from lightplan.estimate.seen import FLOOR, SeenSheet
from lightplan.light.lattice import Lattice, Readings

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles, Singles
    from lightplan.estimate.light_store import Lit
    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig

_WITHIN = 0.5  # of half a cell: where its level is read


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


class CellLevels:
    """What the light engine gives in the cells of one photograph.

    Parameters
    ----------
    rig : Rig
        As planned.
    seen : SeenSheet
    lights : Lights or None
        Of that rig, where they are there already.
    """

    def __init__(self, rig: Rig, seen: SeenSheet, lights: LightStore | None = None) -> None:
        self.lights = LightStore(rig) if lights is None else lights
        self.planned, self._seen = rig, seen
        self._readings = _readings(self.lights.grid, seen)

    @property
    def room(self) -> Doubles:
        """The planned surroundings in units of what `CellLight` holds, (3,)."""
        return self.lights.room

    @property
    def room_cd_m2(self) -> Doubles:
        """What one unit of surroundings is, (3,)."""
        return self.lights.room_cd_m2

    @property
    def least_room(self) -> Doubles:
        """How far the surroundings can be below those planned, in their units, (3,), negative."""
        return self.lights.least_room

    def light(self, rig: Rig) -> CellLight:
        """Return the light of a rig with the planned one's lamps, cards and shells."""
        return self._read_all(self.lights.lit(rig), rig)

    def look_ahead(self, wanted: Sequence[Mapping[Name, float]]) -> None:
        """Work out the light of many rigs that are off the plan by some values."""
        self.lights.look_ahead(wanted)

    def light_of(self, values: Mapping[Name, float]) -> CellLight | None:
        """Return the light of the rig off the plan by some values; None where that cannot be."""
        found = self.lights.of(values)
        return None if found is None else self._read_all(found, self.planned)

    def light_with_more(self, rig: Rig) -> CellLight:
        """Return the light of the planned rig with other lamps besides."""
        return self._read_all(self.lights.lit_with_more(rig), rig)

    def mixing(self) -> Doubles:
        """Return how many stops brighter a cell's other material makes it, for all of it, (n, 3).

        Of the planned rig, its powers and room as planned.
        """
        found = self.lights.of({})
        assert found is not None  # the planned rig can be
        _, paper, foil = found
        trims = [2.0**lamp.trim_stops if lamp.on else 0.0 for lamp in self.planned.lamps]
        power = np.concatenate([np.outer(trims, np.ones(3)), self.room[None]])[:, None, :]
        whole = [
            (power * np.stack([self._read(one) for one in layer])).sum(axis=0)
            for layer in (paper, foil)
        ]
        is_foil, pure = self._seen.is_foil[:, None], self._seen.purity[:, None]
        own, other = np.where(is_foil, whole[1], whole[0]), np.where(is_foil, whole[0], whole[1])
        mixed = np.maximum(pure * own + (1 - pure) * other, 1e-9)
        return np.asarray((other - own) / mixed / np.log(2))

    def _read(self, layer: Singles) -> Doubles:
        """Return the mean level of a layer (rows, cols, 3) in each cell, (n, 3)."""
        return np.asarray(sum(one.read(layer).astype(float) for one in self._readings) / 4)

    def _read_all(self, found: Lit, rig: Rig) -> CellLight:
        names, *layers = found
        trims = [2.0**lamp.trim_stops if lamp.on else 0.0 for lamp in rig.lamps]
        powers = np.array([*trims, 1.0])[:, None, None]
        paper, foil = (np.stack([self._read(one) for one in layer]) for layer in layers)
        own = np.where(self._seen.is_foil[:, None], foil, paper)
        other = np.where(self._seen.is_foil[:, None], paper, foil)
        pure = self._seen.purity[:, None]
        return CellLight(names, powers * (pure * own + (1 - pure) * other))


def to_stops(light: Doubles, clip_cd_m2: float) -> Doubles:
    """Return light as stops below the clip level, with the floor that photographs have."""
    return np.asarray(np.log2(np.maximum(light, 0.0) / clip_cd_m2 + FLOOR))


def _readings(grid: Lattice, seen: SeenSheet) -> tuple[Readings, ...]:
    """Return how to read the sheet's grid in each cell: at four places of it."""
    offset = _WITHIN * seen.spread_mm
    return tuple(
        Readings.of(grid, np.stack([seen.x_mm + a * offset, seen.y_mm + b * offset], axis=1))
        for a in (-1, 1)
        for b in (-1, 1)
    )
