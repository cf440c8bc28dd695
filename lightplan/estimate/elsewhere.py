"""Light from what is not in the rig: patches of a dome far out, one or two neighbours lit."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.search import Hypothesis, Search
from lightplan.scene import Lamp, Output, Placement, Rig
from lightplan.scene.slips import Foreign

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Vector
    from lightplan.estimate.fit import Fitted

RINGS = ((10.0, 14), (28.0, 12), (47.0, 10), (67.0, 6), (88.0, 1))
"""Heights in degrees of the rings of patches, and how many stand in each."""
PATCH_DEG = 24.0
LEAST_DISTANCE_MM = 1500.0
BEYOND = 1.25  # times the farthest thing of the rig
EXTRA_COST = 4.0  # of a direction, a size and a colour, beside what one slip costs
SHARES = (0.35, 0.6, 1.0, 1.6, 2.6)
_FIRST = 5  # patches that are tried with others
_MARK_STOPS = 0.4
NAME = "elsewhere"


@dataclass(frozen=True, eq=False)
class Patch:
    """One patch of the dome: where it is, and its light in the cells for 1 cd/m2."""

    direction: Vector
    light: Doubles


class Elsewhere:
    """Tries light from outside on one photograph."""

    def __init__(self, search: Search) -> None:
        self._search = search
        self.distance_mm = _distance(search.rig)
        self._width = 2 * self.distance_mm * math.tan(math.radians(PATCH_DEG / 2))
        self.patches = self._lit()

    def _lit(self) -> list[Patch]:
        rig = self._search.rig
        lamps = [
            Lamp(
                name=f"{NAME} {i}",
                width_mm=self._width,
                height_mm=self._width,
                is_window=True,
                placement=Placement(_times(way, self.distance_mm)),
                output=Output(value=1.0, unit="cd/m2"),
            )
            for i, way in enumerate(directions())
        ]
        whole = replace(rig, lamps=(*rig.lamps, *lamps))
        light = self._search.levels.light_anew(whole).light[len(rig.lamps) : -1]
        return [Patch(way, one) for way, one in zip(directions(), light, strict=True)]

    def best(self, plan: Hypothesis) -> tuple[Hypothesis, Foreign] | None:
        """Return the light from outside that explains most, and the fit with it."""
        singles = [self._tried(plan, (i,)) for i in range(len(self.patches))]
        order = sorted((s for s in singles if s is not None), key=lambda found: found[0].cost)[
            :_FIRST
        ]
        if not order:
            return None
        first = order[0]
        for other in order[1:]:
            both = self._tried(plan, (*first[1], *other[1]))
            if both is not None and both[0].cost < first[0].cost - EXTRA_COST:
                first = both
        hypothesis, chosen, level = first
        return hypothesis, self._foreign(hypothesis, chosen, level)

    def _tried(
        self, plan: Hypothesis, chosen: tuple[int, ...]
    ) -> tuple[Hypothesis, tuple[int, ...], Doubles] | None:
        """Return the fit with some patches lit, as bright as suits best, in their best colour."""
        light = np.mean([self.patches[i].light for i in chosen], axis=0)
        level = self._first_level(plan, light)
        if level is None:
            return None
        best: tuple[float, Fitted, Doubles] | None = None
        for share in SHARES:
            lit = plan.light + share * level * light
            fitted = self._search.fitter.fit(lit, self._search.hand, plan.fitted.exposure)
            if best is None or fitted.cost < best[0]:
                best = (fitted.cost, fitted, share * level)
        assert best is not None
        cost, fitted, level = best
        values = {(NAME, "light"): float(level.max())}
        extra = EXTRA_COST * len(chosen)
        lit = plan.light + level * light
        return Hypothesis(values, fitted, 1, cost + extra, lit), chosen, level

    def _first_level(self, plan: Hypothesis, light: Doubles) -> Doubles | None:
        """Return the luminance per channel that lifts cells as much as they are too bright."""
        excess = plan.light * (2.0 ** np.clip(plan.fitted.residual, -3, 6) - 1)
        weight = 1 / np.maximum(plan.light, 1e-3 * plan.light.max()) ** 2
        pull = (weight * light * excess).sum(axis=0)
        level = pull / np.maximum((weight * light**2).sum(axis=0), 1e-12)
        if level.max() <= 0:
            # the fitted exposure may have taken the light up: begin at a tenth of what clips
            whole = float(np.median(light)) + 1e-9
            level = np.full(3, 0.1 * self._search.fitter.clip_cd_m2 / whole)
        return np.asarray(np.maximum(level, 0.1 * level.max()))

    def _foreign(self, found: Hypothesis, chosen: tuple[int, ...], level: Doubles) -> Foreign:
        way = np.sum([self.patches[i].direction for i in chosen], axis=0)
        way = way / np.linalg.norm(way)
        wide = self._width * math.sqrt(len(chosen))
        share = 1 / len(chosen)  # each patch was given its share of the mean
        return Foreign(
            direction=(float(way[0]), float(way[1]), float(way[2])),
            distance_mm=self.distance_mm,
            width_mm=wide,
            luminance_cd_m2=tuple(float(v) * share for v in level),  # type: ignore[arg-type]
            where_mm=self._mirrored(found, chosen, level),
            cost=0.0,
        )

    def _mirrored(
        self, found: Hypothesis, chosen: tuple[int, ...], level: Doubles
    ) -> tuple[float, float] | None:
        """Return where the foil shows it most; None where it does not."""
        seen = self._search.fitter.seen
        own = level * np.mean([self.patches[i].light for i in chosen], axis=0)
        rise = np.log2((found.light / np.maximum(found.light - own, 1e-9)).mean(axis=1))
        rise = np.where(seen.is_foil, rise, 0.0)
        at = int(np.argmax(rise))
        paper = np.median(rise[~seen.is_foil]) if (~seen.is_foil).any() else 0.0
        if rise[at] < max(_MARK_STOPS, paper):
            return None
        return float(seen.x_mm[at]), float(seen.y_mm[at])


def directions() -> list[Vector]:
    """Return unit vectors to the patches of the dome."""
    found: list[Vector] = []
    for height_deg, count in RINGS:
        height = math.radians(height_deg)
        for i in range(count):
            around = 2 * math.pi * (i + 0.5) / count
            level = math.cos(height)
            found.append((level * math.cos(around), level * math.sin(around), math.sin(height)))
    return found


def _distance(rig: Rig) -> float:
    places = [x.placement.position_mm for x in (*rig.lamps, *rig.cards)]  # type: ignore[attr-defined]
    farthest = max((math.dist(p, (0, 0, 0)) for p in places), default=0.0)
    return max(LEAST_DISTANCE_MM, BEYOND * farthest + 300.0)


def _times(way: Vector, factor: float) -> Vector:
    x, y, z = (factor * v for v in way)
    return (x, y, z)
