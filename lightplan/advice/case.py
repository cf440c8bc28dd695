"""One prediction laid out for diagnosis: who lights what, and what is mirrored where."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lightplan.advice.tryout import Tryout
from lightplan.geometry.shapes import Flat
from lightplan.light.exposure import clip_luminance, sheet_share
from lightplan.mirror.foil_rays import FoilRays, foil_rays, places_on, surface_named
from lightplan.scene.surfaces import Surface, build_surfaces
from lightplan.words.things import thing

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.light import Layers
    from lightplan.scene import Lamp, Rig

DARK_ROLES = ("table", "room", "camera", "prop")


@dataclass(frozen=True, eq=False)
class Case:
    """A rig with its prediction."""

    rig: Rig
    layers: Layers

    @cached_property
    def surfaces(self) -> tuple[Surface, ...]:
        """Every surface of the rig."""
        return build_surfaces(self.rig)

    @cached_property
    def rays(self) -> FoilRays:
        """What the foil mirrors."""
        return foil_rays(self.rig, self.layers)

    @cached_property
    def bench(self) -> Tryout:
        """Where moves are tried."""
        return Tryout(self.rig)

    @cached_property
    def clip(self) -> float:
        """Luminance that clips, cd/m2."""
        return clip_luminance(self.rig, self.layers)

    @cached_property
    def paper_level(self) -> Doubles:
        """Brightest channel of the paper layer, 1 = clip level, (rows, cols)."""
        return np.asarray(self.layers.sheet_paper.max(axis=2) / self.clip, float)

    @cached_property
    def bare_paper(self) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Where the sheet is paper; everywhere when it is all foil."""
        bare = sheet_share(self.rig, self.layers) < 0.5
        return bare if bare.any() else np.ones_like(bare)

    @cached_property
    def _per_lamp(self) -> tuple[tuple[str, ...], Doubles, Doubles]:
        found = self.bench.per_lamp()
        power = [2.0**lamp.trim_stops if lamp.on else 0.0 for lamp in self.rig.lamps] + [1.0]
        scale = np.array(power)[:, None, None]
        return found.names, scale * found.paper.mean(axis=3), scale * found.foil.mean(axis=3)

    def light_at(self, where_mm: tuple[float, float], *, foil: bool) -> dict[str, float]:
        """Return each lamp's share of the light at a place, the largest first.

        "surroundings" stands for the room's own light.
        """
        names, paper, metal = self._per_lamp
        layer = metal if foil else paper
        rows, cols = layer.shape[1:]
        row = round((0.5 - where_mm[1] / self.rig.sheet.height_mm) * (rows - 1))
        col = round((0.5 + where_mm[0] / self.rig.sheet.width_mm) * (cols - 1))
        values = layer[:, min(max(row, 0), rows - 1), min(max(col, 0), cols - 1)]
        total = float(values.sum())
        order = np.argsort(-values, kind="stable")
        return {names[i]: float(values[i]) / total for i in order} if total > 0 else {}

    def main_lamp(self, where_mm: tuple[float, float], *, foil: bool) -> Lamp | None:
        """Return the lamp that gives most of the light at a place."""
        for name in self.light_at(where_mm, foil=foil):
            for lamp in self.rig.lamps:
                if lamp.name == name and lamp.on:
                    return lamp
        return None

    def surface(self, name: str) -> Surface | None:
        """Return the surface of a name."""
        return surface_named(self.surfaces, name)

    def thing(self, name: str) -> str:
        """Return what a maker calls it."""
        return thing(name, self.surface(name))

    def is_gap(self, name: str) -> bool:
        """Whether a mirrored thing is not there to be mirrored: room, table, camera, nothing."""
        surface = self.surface(name)
        return not name.startswith("hole in ") and (surface is None or surface.role in DARK_ROLES)

    def card_beside(self, gap: FoilRays) -> tuple[str, Flat] | None:
        """Return the card whose plane the rays of a gap pass nearest to its edge."""
        best: tuple[float, str, Flat] | None = None
        for card in self.rig.cards:
            surface = self.surface(card.name)
            if surface is None or not isinstance(surface.shape, Flat):
                continue
            face = surface.shape
            places, _ = places_on(face, gap)
            if not np.isfinite(places).all():
                continue
            over = np.abs(places) - [face.half_width, face.half_height]
            miss = float(np.median(np.maximum(over, 0.0).max(axis=1)))
            if best is None or miss < best[0]:
                best = (miss, card.name, face)
        return None if best is None else (best[1], best[2])

    def foil_extremes(self) -> tuple[int, int]:
        """Return indices of a bright and a dark ray (2nd and 98th percentile of level)."""
        order = np.argsort(self.rays.level, kind="stable")
        last = len(order) - 1
        return int(order[round(0.98 * last)]), int(order[round(0.02 * last)])

    def paper_extremes(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Return places of bright and of dark paper, x and y in mm."""
        row, col = np.nonzero(self.bare_paper)
        order = np.argsort(self.paper_level[row, col], kind="stable")
        last = len(order) - 1
        found = []
        for share in (0.98, 0.02):
            i = order[round(share * last)]
            found.append(
                (float(self.layers.sheet_x_mm[col[i]]), float(self.layers.sheet_y_mm[row[i]]))
            )
        return found[0], found[1]
