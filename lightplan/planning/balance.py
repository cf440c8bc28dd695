"""Lamp powers of a rig: the exact solution for the look's levels, moved, kept in their limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from lightplan.arrays import Doubles, Singles
from lightplan.measures.samples import Sampler
from lightplan.planning.powers import solve_powers, solve_ratios
from lightplan.planning.targets import foil_level, luminance, paper_level
from lightplan.planning.variables import Variable, set_values
from lightplan.scene import Rig

POWER_SPAN_STOPS = 6.0
"""How far the search may leave the solved powers."""
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
    """Sets the powers that may be set.

    Parameters
    ----------
    rig : Rig
        Origin of the freedoms.
    trims : sequence of Variable
        The powers among them.
    """

    def __init__(self, rig: Rig, trims: Sequence[Variable]) -> None:
        self._trims = tuple(trims)
        on = {x.name for x in rig.lamps if x.on}
        dimmed = {v.element for v in self._trims}
        self.only_ratios = rig.camera.exposure.f_number is None and on <= dimmed
        self._moved = self._trims[1:] if self.only_ratios else self._trims

    @property
    def size(self) -> int:
        """How many numbers move the powers away from their solution."""
        return len(self._moved)

    def free(self, rig: Rig) -> list[Variable]:
        """Return the powers that may be set, of lamps that are on."""
        return [v for v in self._trims if is_on(rig, v.element)]

    def trims(
        self, rig: Rig, light: LampSamples, sampler: Sampler, clip_of: ClipOf, offsets: Doubles
    ) -> dict[str, float]:
        """Return the setting of each lamp in stops: as solved, then moved.

        Where the rig's things stand does not matter: that is in the light.

        Parameters
        ----------
        offsets : (size,) float
            0.5 leaves a power as it is solved, 0 and 1 move it by `POWER_SPAN_STOPS`.
        """
        if not self.free(rig):
            return trims_of(rig)
        trims = self._solved(rig, light, sampler, clip_of)
        for variable, share in zip(self._moved, offsets, strict=True):
            if variable.element in trims:
                trims[variable.element] += POWER_SPAN_STOPS * (2 * float(share) - 1)
        return trims_of(rig) | self.limited(trims)

    def offsets(self, trims: dict[str, float], solved: dict[str, float]) -> Doubles:
        """Return by what the solved powers are moved to given ones, as `trims` reads it."""
        away = {v.element: trims[v.element] - solved[v.element] for v in self._trims}
        if self.only_ratios and self._trims:
            first = away[self._trims[0].element]
            away = {name: off - first for name, off in away.items()}
        shares = [0.5 + away[v.element] / (2 * POWER_SPAN_STOPS) for v in self._moved]
        return np.asarray(np.clip(shares, 0.0, 1.0), float)

    def limited(self, trims: dict[str, float]) -> dict[str, float]:
        """Return powers within their limits.

        Where the exposure follows the light and every lamp that is on can be dimmed,
        only proportions count, and the lamps are set as high as they can be: the room's
        light then counts least.
        """
        free = [v for v in self._trims if v.element in trims]
        if self.only_ratios:
            lift = min(v.high - trims[v.element] for v in free)
            trims = {name: t + lift for name, t in trims.items()}
        return {v.element: _between(trims[v.element], v) for v in free}

    def set(self, rig: Rig, trims: dict[str, float]) -> Rig:
        """Return the rig with the powers that may be set, as given."""
        free = {v.element for v in self.free(rig)}
        return set_values(rig, {(n, "trim_stops"): t for n, t in trims.items() if n in free})

    def _solved(
        self, rig: Rig, light: LampSamples, sampler: Sampler, clip_of: ClipOf
    ) -> dict[str, float]:
        """Solve powers against the look's own levels (exact least squares)."""
        free = self.free(rig)
        target, importance = _targets(rig, sampler)
        lamps = luminance(light.values[:, : len(target)].astype(float))
        index = {n: i for i, n in enumerate(light.names)}
        chosen = [index[v.element] for v in free]
        trims = trims_of(rig)
        others = [i for n, i in index.items() if i not in chosen and is_on(rig, n)]
        fixed = sum((2.0 ** trims[light.names[i]] * lamps[i] for i in others), 0 * lamps[-1])
        low, high = [v.low for v in free], [v.high for v in free]
        weights = importance / np.maximum(target, 0.05) ** 2
        if rig.camera.exposure.f_number is None:
            found = solve_ratios(
                lamps[chosen], fixed, target, low_stops=low, high_stops=high, weights=weights
            )
        else:
            scale = _PAPER_SHARE * clip_of(rig, light.values[-1]) / paper_level(rig)
            found = solve_powers(
                lamps[chosen], fixed + lamps[-1], scale * target,
                low_stops=low, high_stops=high, weights=weights,
            ).trim_stops  # fmt: skip
        return {v.element: float(t) for v, t in zip(free, found, strict=True)}


def _targets(rig: Rig, sampler: Sampler) -> tuple[Doubles, Doubles]:
    """Return wanted levels and weights, of foil cells first, then of paper cells."""
    foil, paper = sampler.grid.foil, sampler.grid.paper
    stock = paper_level(rig)
    metal = foil_level(rig, foil.x_mm, foil.y_mm)
    mixed = foil.purity * metal + (1 - foil.purity) * stock
    target = np.concatenate([mixed, np.full(len(paper.cells), stock)])
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
