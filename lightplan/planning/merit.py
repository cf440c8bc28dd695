"""The score of a rig: light, exact powers, measures, judgement, limits.

The same measures and the same judgement as for photographs. Whatever gives the light is
behind `LightModel`, so that the search can be tested on light with a known answer.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from lightplan.arrays import Doubles, Floats
from lightplan.errors import RigError
from lightplan.measures import Judgement, Measures, SheetMaps, judge, measure, merit
from lightplan.planning.constraints import total_excess_mm, unmovable
from lightplan.planning.powers import solve_ratios
from lightplan.planning.targets import luminance, wanted_levels
from lightplan.planning.variables import Space, Variable, set_values
from lightplan.scene import Rig

MM_PER_MERIT = 25.0
"""Breaking a limit by this much costs as much as losing 63 % of the score."""
REFUSED = 1e3
"""Value of a rig that cannot be built or judged at all."""
NEAR_THE_BEST = 0.25
"""Powers are refined where the merit comes this near to the best so far."""
_TRIES = (0.7, 0.25)
_FINE_TRIES = (0.7, 0.25, 0.08, 0.03)
_PLACES = 400
"""Places of the sheet against which the first powers are solved."""


@dataclass(frozen=True, eq=False)
class LampLight:
    """Light on the sheet from each lamp alone at trim 0, the surroundings' last.

    Parameters
    ----------
    names : tuple of str
        Of the lamps, in order.
    paper, foil : (l + 1, rows, cols, 3) float
        Luminance as if the whole sheet were paper, or foil, in cd/m2.
    """

    names: tuple[str, ...]
    paper: Floats
    foil: Floats


class LightModel(Protocol):
    """Where the light comes from."""

    def lamp_light(self, rig: Rig) -> LampLight:
        """Return the light of each lamp."""
        ...

    def foil_share(self, rig: Rig) -> Floats:
        """Return the artwork on the sheet's grid, (rows, cols)."""
        ...

    def clip_luminance(self, rig: Rig, paper: Floats) -> float:
        """Return the luminance that clips, given that of the paper, in cd/m2."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A rig and what it is worth.

    Parameters
    ----------
    rig : Rig
        As judged; powers are set where they were solved.
    merit : float
        From the measures; larger is better.
    excess_mm : float
        Broken limits, summed.
    measures : Measures
    """

    rig: Rig
    merit: float
    excess_mm: float
    measures: Measures

    @property
    def value(self) -> float:
        """What the search makes small."""
        return -self.merit + self.excess_mm / MM_PER_MERIT

    @property
    def judgement(self) -> Judgement:
        """The verdict, as for a photograph."""
        return judge(self.measures, self.rig.look)

    @property
    def score(self) -> float:
        """0 to 100; 0 where nothing can be judged."""
        score = self.judgement.score
        return 0.0 if score is None else score


class Bench:
    """Judges rigs that share a sheet and a look.

    Parameters
    ----------
    rig : Rig
        Origin of the freedoms; limits that its fixed things break are excused.
    model : LightModel
    """

    def __init__(self, rig: Rig, model: LightModel) -> None:
        self.rig = rig
        self.space = Space.of(rig)
        self.excused = unmovable(rig)
        self._model = model
        self._maps: SheetMaps | None = None
        self._best = -math.inf

    def judge(self, rig: Rig) -> Judged:
        """Judge a rig with the powers that it has."""
        light = self._model.lamp_light(rig)
        return self._judged(rig, light, _trims(rig), self.excess_mm(rig))

    def judge_solved(self, rig: Rig, *, thorough: bool = False) -> Judged:
        """Judge a rig with the best powers that its freedoms allow.

        Parameters
        ----------
        thorough : bool
            Refine the powers to 0.03 stops in any case; otherwise to 0.25 stops, and
            only where the rig comes near the best so far.
        """
        light, excess = self._model.lamp_light(rig), self.excess_mm(rig)
        free = [v for v in self.space.trims if _is_on(rig, v.element)]
        trims = _trims(rig)
        if free:
            trims |= self._first_powers(rig, light, free)
        best = self._judged(rig, light, trims, excess)
        if free and (thorough or best.merit > self._best - NEAR_THE_BEST):
            best = self._refined(best, light, free, _FINE_TRIES if thorough else _TRIES)
        if excess == 0:
            self._best = max(self._best, best.merit)
        return best

    def value(self, point: Doubles) -> float:
        """Return what the search makes small, at a point of the freedoms' unit box."""
        try:
            rig = self.space.apply(self.rig, point)
        except RigError:
            return REFUSED
        excess = self.excess_mm(rig)
        if excess > 4 * MM_PER_MERIT:
            return 10.0 + excess / MM_PER_MERIT  # no light could make up for it
        return min(self.judge_solved(rig).value, REFUSED)

    def excess_mm(self, rig: Rig) -> float:
        """Return the sum of broken limits, those of fixed things left out."""
        return total_excess_mm(rig, apart_from=self.excused)

    def _judged(self, rig: Rig, light: LampLight, trims: dict[str, float], excess: float) -> Judged:
        gains = np.array([2.0 ** trims[n] if _is_on(rig, n) else 0.0 for n in light.names] + [1.0])
        paper = np.tensordot(gains.astype(light.paper.dtype), light.paper, axes=1)
        foil = np.tensordot(gains.astype(light.foil.dtype), light.foil, axes=1)
        share = self._model.foil_share(rig)[..., None]
        clip = self._model.clip_luminance(rig, paper)
        linear = (share * foil + (1 - share) * paper) / np.float32(clip)
        if self._maps is None:
            self._maps = SheetMaps.from_linear(
                linear, share[..., 0], width_mm=rig.sheet.width_mm, height_mm=rig.sheet.height_mm
            )
            maps = self._maps
        else:
            maps = self._maps.with_linear(linear)
        found = measure(
            maps, rig.look, rig.sheet.foil.kind, stock_reflectance=rig.sheet.paper.reflectance
        )
        changes = {(n, "trim_stops"): t for n, t in trims.items() if t != _trims(rig)[n]}
        return Judged(
            rig=set_values(rig, changes) if changes else rig,
            merit=merit(found, rig.look),
            excess_mm=excess,
            measures=found,
        )

    def _first_powers(self, rig: Rig, light: LampLight, free: list[Variable]) -> dict[str, float]:
        """Solve powers against the look's own levels (exact least squares)."""
        rows, cols = light.paper.shape[1:3]
        share = np.asarray(self._model.foil_share(rig), float).ravel()
        step = max(1, share.size // _PLACES)
        paper_level, foil_level = wanted_levels(rig, rows, cols)
        target = np.concatenate([np.full(share.size, paper_level), foil_level.ravel()])[::step]
        lamps = np.concatenate([_flat(light.paper), _flat(light.foil)], axis=1)[:, ::step]
        importance = np.concatenate([_shared(1 - share), _shared(share)])[::step]
        index = {n: i for i, n in enumerate(light.names)}
        chosen = [index[v.element] for v in free]
        fixed = lamps[-1].copy()
        trims = _trims(rig)
        for name, i in index.items():
            if i not in chosen and _is_on(rig, name):
                fixed += 2.0 ** trims[name] * lamps[i]
        found = solve_ratios(
            lamps[chosen], fixed, target,
            low_stops=[v.low for v in free], high_stops=[v.high for v in free],
            weights=importance / np.maximum(target, 0.05) ** 2,
        )  # fmt: skip
        return {v.element: float(t) for v, t in zip(free, found, strict=True)}

    def _refined(
        self, best: Judged, light: LampLight, free: list[Variable], steps: tuple[float, ...]
    ) -> Judged:
        """Try each lamp a step up and down, with smaller and smaller steps."""
        for step in steps:
            for variable in free:
                for sign in (1, -1):
                    trims = _trims(best.rig)
                    wished = trims[variable.element] + sign * step
                    trims[variable.element] = min(max(wished, variable.low), variable.high)
                    if trims == _trims(best.rig):
                        continue
                    other = self._judged(best.rig, light, trims, best.excess_mm)
                    if other.merit > best.merit + 1e-9:
                        best = other
                        break
        return best


def _trims(rig: Rig) -> dict[str, float]:
    return {lamp.name: lamp.trim_stops for lamp in rig.lamps}


def _is_on(rig: Rig, name: str) -> bool:
    return any(lamp.name == name and lamp.on for lamp in rig.lamps)


def _flat(light: Floats) -> Doubles:
    return luminance(np.asarray(light, float)).reshape(len(light), -1)


def _shared(share: Doubles) -> Doubles:
    """Return the importance of places of one material; each material counts half."""
    return share / max(float(share.sum()), 1e-9)
