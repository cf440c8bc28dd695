"""Lamp powers of a rig: as numbers of a search, kept in their limits, and solved exactly."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import Doubles, Singles
from lightplan.merit.powers import solve_powers, solve_ratios
from lightplan.merit.wanted_levels import foil_level, luminance, paper_level
from lightplan.scene import Rig
from lightplan.scene.edits import set_values

if TYPE_CHECKING:
    from lightplan.measures.samples import Sampler
    from lightplan.scene.dimensions import Variable

_PAPER_SHARE = 0.7
"""Level of white paper, as a share of clipping, under a fixed exposure."""

ClipOf = Callable[[Rig, Singles], float]


@dataclass(frozen=True, eq=False)
class LampSamples:
    """Light of each lamp alone at trim 0, the surroundings' last, as the measures read it.

    Parameters
    ----------
    names : tuple of str
        Of the lamps, in order.
    values : (l + 1, k + p, 3) float32
        Samples of the sheet (`Sampler.sample`, k), then the foil's own luminance at the
        pixels of foil that the sampler looks at (p), in cd/m2.
    """

    names: tuple[str, ...]
    values: Singles


class Balance:
    """The powers that may be set, of lamps that are on.

    Where the exposure follows the light and every lamp can be dimmed, only proportions count:
    the first lamp is then the measure of the others, and all are set as high as they can be,
    so that the room's light counts least.

    Parameters
    ----------
    rig : Rig
        Origin of the freedoms.
    trims : sequence of Variable
        The powers among them.
    """

    def __init__(self, rig: Rig, trims: Sequence[Variable]) -> None:
        self.free = tuple(v for v in trims if is_on(rig, v.element))
        on = {x.name for x in rig.lamps if x.on}
        self.only_ratios = rig.camera.exposure.f_number is None and on <= {
            v.element for v in self.free
        }
        self._own = trims_of(rig)

    @property
    def size(self) -> int:
        """How many numbers set the powers."""
        return len(self._ranges)

    def trims(self, shares: Doubles) -> dict[str, float]:
        """Return the setting of each lamp in stops.

        Parameters
        ----------
        shares : (size,) float
            0 to 1 over what each power may be, or its proportion to the first.
        """
        found = {self.free[0].element: 0.0} if self.only_ratios and self.free else {}
        for share, (name, low, high) in zip(shares, self._ranges, strict=True):
            found[name] = low + float(share) * (high - low)
        return self._own | self.limited(found)

    def shares(self, trims: dict[str, float]) -> Doubles:
        """Return the numbers (size,) of given settings, as `trims` reads them."""
        zero = trims[self.free[0].element] if self.only_ratios and self.free else 0.0
        found = [(trims[n] - zero - low) / max(high - low, 1e-9) for n, low, high in self._ranges]
        return np.asarray(np.clip(np.array(found, float), 0.0, 1.0))

    @cached_property
    def _ranges(self) -> tuple[tuple[str, float, float], ...]:
        """Each number's lamp, and what it is at 0 and at 1, in stops."""
        if not self.only_ratios:
            return tuple((v.element, v.low, v.high) for v in self.free)
        return tuple(
            (v.element, v.low - first.high, v.high - first.low)
            for first in self.free[:1]
            for v in self.free[1:]
        )

    def limited(self, trims: dict[str, float]) -> dict[str, float]:
        """Return powers within their limits; the highest of their proportions, if these count."""
        free = [v for v in self.free if v.element in trims]
        if self.only_ratios and free:
            lift = min(v.high - trims[v.element] for v in free)
            trims = {name: t + lift for name, t in trims.items()}
        return {v.element: _between(trims[v.element], v) for v in free}

    def set(self, rig: Rig, trims: dict[str, float]) -> Rig:
        """Return the rig with the powers that may be set, as given."""
        free = {v.element for v in self.free}
        return set_values(rig, {(n, "trim_stops"): t for n, t in trims.items() if n in free})

    def solved(
        self, rig: Rig, light: LampSamples, sampler: Sampler, clip_of: ClipOf
    ) -> dict[str, float]:
        """Return the powers that come nearest to the look's own levels (exact least squares).

        Where the rig's things stand does not matter: that is in the light.
        """
        target, importance = _targets(rig, sampler)
        lamps = luminance(light.values[:, : len(target)].astype(float))
        index = {n: i for i, n in enumerate(light.names)}
        chosen = [index[v.element] for v in self.free]
        trims = trims_of(rig)
        others = [i for n, i in index.items() if i not in chosen and is_on(rig, n)]
        fixed = sum((2.0 ** trims[light.names[i]] * lamps[i] for i in others), 0 * lamps[-1])
        low, high = [v.low for v in self.free], [v.high for v in self.free]
        weights = importance / np.maximum(target, 0.05) ** 2
        if rig.camera.exposure.f_number is None:
            found = solve_ratios(
                lamps[chosen], fixed, target, low_stops=low, high_stops=high, weights=weights
            )
        else:
            stock = float(rig.camera.light_of(np.asarray(paper_level(rig))))
            scale = _PAPER_SHARE * clip_of(rig, light.values[-1]) / stock
            found = solve_powers(
                lamps[chosen],
                fixed + lamps[-1],
                scale * target,
                low_stops=low,
                high_stops=high,
                weights=weights,
            ).trim_stops
        return trims | {v.element: float(t) for v, t in zip(self.free, found, strict=True)}


def _targets(rig: Rig, sampler: Sampler) -> tuple[Doubles, Doubles]:
    """Return wanted light and weights, of foil cells first, then of paper cells.

    A look's levels are those that the picture shows: a camera that presses highlights together
    needs a longer run of light for them.
    """
    foil, paper = sampler.grid.foil, sampler.grid.paper
    stock = paper_level(rig)
    metal = foil_level(rig, foil.x_mm, foil.y_mm)
    mixed = foil.purity * metal + (1 - foil.purity) * stock
    wanted = np.concatenate([mixed, np.full(len(paper.cells), stock)])
    target = np.asarray(rig.camera.light_of(wanted), float)
    return target, np.concatenate([_shared(foil.cover), _shared(paper.cover)])


def trims_of(rig: Rig) -> dict[str, float]:
    """Return the setting of each lamp in stops."""
    return {lamp.name: lamp.trim_stops for lamp in rig.lamps}


def is_on(rig: Rig, name: str) -> bool:
    """Whether a lamp of this name is there and on."""
    return any(lamp.name == name and lamp.on for lamp in rig.lamps)


def _between(value: float, variable: Variable) -> float:
    return min(max(value, variable.low), variable.high)


def _shared(cover: Doubles) -> Doubles:
    """Return the importance of cells of one material; each material counts half."""
    return cover / max(float(cover.sum()), 1e-9)
