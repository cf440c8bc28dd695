"""The score of a rig: light, exact powers, measures, judgement, limits.

The same measures and the same judgement as for photographs. Whatever gives the light is
behind `LightModel`, so that the search can be tested on light with a known answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np

from lightplan.arrays import Doubles, Floats
from lightplan.errors import RigError
from lightplan.measures import Judgement, Measures, SheetMaps, judge, measure, merit
from lightplan.planning.constraints import total_excess_mm, unmovable
from lightplan.planning.powers import solve_powers, solve_ratios
from lightplan.planning.targets import luminance, wanted_levels
from lightplan.planning.variables import Space, Variable, set_values
from lightplan.scene import Rig

WORST = 50.0
"""Value of the worst rig that can be built; what cannot be built lies above."""
MM_PER_VALUE = 25.0
FORGIVEN_MM = 0.5
HEADROOM_STOPS = 0.15
"""A picture must still be good when it comes out this much brighter: dials and meters miss
by about as much (common practice, no source), and clipping is a cliff."""
POWER_SPAN_STOPS = 2.5
"""How far the search may leave the solved powers."""
_MOST_ROUNDS = 12
_REFINED = 3
_PAPER_SHARE = 0.7
"""Level of white paper, as a share of clipping, under a fixed exposure."""
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

    def clip_luminance(self, rig: Rig, paper: Floats, foil: Floats) -> float:
        """Return the luminance that clips, given those of paper and foil, in cd/m2."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """A rig and what it is worth.

    Parameters
    ----------
    rig : Rig
        As judged; powers are set where they were solved.
    merit : float
        From the measures, as it stands and a little brighter; larger is better.
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
        """What the search makes small; any rig that can be built beats any that cannot."""
        if self.excess_mm > FORGIVEN_MM:
            return unbuildable(self.excess_mm)
        return min(-self.merit, WORST)

    @property
    def judgement(self) -> Judgement:
        """The verdict, as for a photograph."""
        return judge(self.measures, self.rig.look)

    @property
    def score(self) -> float:
        """0 to 100; 0 where nothing can be judged."""
        score = self.judgement.score
        return 0.0 if score is None else score


def unbuildable(excess_mm: float) -> float:
    """Return the value of a rig that breaks limits by this much."""
    return WORST + 1.0 + excess_mm / MM_PER_VALUE


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
        on = {x.name for x in rig.lamps if x.on}
        dimmed = {v.element for v in self.space.trims}
        self._only_ratios = rig.camera.exposure.f_number is None and on <= dimmed
        self._balance = self.space.trims[1:] if self._only_ratios else self.space.trims

    @property
    def size(self) -> int:
        """How many numbers a point of the search has: geometry, then powers."""
        return len(self.space.geometry) + len(self._balance)

    def point_of(self, rig: Rig) -> Doubles:
        """Return the point of a rig's geometry, with the powers as they are solved."""
        return self.with_solved_powers(self.space.read(rig))

    def with_solved_powers(self, geometry: Doubles) -> Doubles:
        """Return the point of a geometry, with the powers as they are solved."""
        return np.concatenate([geometry, np.full(len(self._balance), 0.5)])

    def rig_at(self, point: Doubles) -> Rig:
        """Return the rig at a point, its powers set.

        The last numbers of a point move the powers away from the exact solution for the
        look's own levels, by up to `POWER_SPAN_STOPS` either way from 0.5: the judgement
        may prefer another balance than these levels.
        """
        rig = self.space.apply(self.rig, point[: len(self.space.geometry)])
        free = [v for v in self.space.trims if _is_on(rig, v.element)]
        return self._powered(rig, self._model.lamp_light(rig), point) if free else rig

    def value(self, point: Doubles) -> float:
        """Return what the search makes small, at a point."""
        try:
            rig = self.space.apply(self.rig, point[: len(self.space.geometry)])
        except RigError:
            return unbuildable(1e4)
        excess = self.excess_mm(rig)
        if excess > FORGIVEN_MM:
            return unbuildable(excess)
        light = self._model.lamp_light(rig)
        rig = self._powered(rig, light, point)
        return self._judged(rig, *self._mixed(rig, light), excess).value

    def judge(self, rig: Rig) -> Judged:
        """Judge a rig with the powers that it has."""
        return self._judged(rig, *self.sheet_light(rig), self.excess_mm(rig))

    def judge_solved(self, rig: Rig, *, steps: tuple[float, ...] = (0.25, 0.08, 0.03)) -> Judged:
        """Judge a rig with the best powers that its freedoms allow, to the last step in stops.

        Refined from the powers it has, or from the exact solution for the look's levels
        with lamps moved away from it, whichever is best.
        """
        light, excess = self._model.lamp_light(rig), self.excess_mm(rig)
        tries = [rig] + [self._powered(rig, light, point) for point in self._balances(rig)]
        judged = [self._judged(r, *self._mixed(r, light), excess) for r in tries]
        judged.sort(key=lambda j: -j.merit)
        refined = [self._refined(j, light, steps[:1]) for j in judged[:_REFINED]]
        return self._refined(max(refined, key=lambda j: j.merit), light, steps)

    def _balances(self, rig: Rig) -> list[Doubles]:
        """Return points of a rig's geometry with its powers as solved and moved away.

        One power is tried in half stops, the first two together in steps of 1.25.
        """
        first = len(self.space.geometry)
        solved = self.point_of(rig)
        count = len(self._balance)
        shares = np.linspace(0, 1, 11 if count < 2 else 5)
        points = [solved]
        for row in product(shares, repeat=min(count, 2)):
            moved = solved.copy()
            moved[first : first + len(row)] = row
            points.append(moved)
        return points

    def sheet_light(self, rig: Rig) -> tuple[Floats, Floats]:
        """Return the sheet's luminance as paper and as foil, with the rig's powers."""
        return self._mixed(rig, self._model.lamp_light(rig))

    def score_light(self, rig: Rig, paper: Floats, foil: Floats) -> float:
        """Return the score (0 to 100) of a rig's sheet under given light."""
        score = judge(self._measured(rig, self._picture(rig, paper, foil)), rig.look).score
        return 0.0 if score is None else score

    def excess_mm(self, rig: Rig) -> float:
        """Return the sum of broken limits, those of fixed things left out."""
        return total_excess_mm(rig, apart_from=self.excused)

    def _mixed(self, rig: Rig, light: LampLight) -> tuple[Floats, Floats]:
        trims = _trims(rig)
        gains = [2.0 ** trims[n] if _is_on(rig, n) else 0.0 for n in light.names]
        share = np.array([*gains, 1.0], light.paper.dtype)
        return np.tensordot(share, light.paper, axes=1), np.tensordot(share, light.foil, axes=1)

    def _picture(self, rig: Rig, paper: Floats, foil: Floats) -> Floats:
        """Return the linear picture, (rows, cols, 3), 1 = clip level."""
        share = self._model.foil_share(rig)[..., None]
        clip = self._model.clip_luminance(rig, paper, foil)
        linear = (share * foil + (1 - share) * paper) / np.float32(clip)
        if self._maps is None:
            self._maps = SheetMaps.from_linear(
                linear, share[..., 0], width_mm=rig.sheet.width_mm, height_mm=rig.sheet.height_mm
            )
        return linear

    def _judged(self, rig: Rig, paper: Floats, foil: Floats, excess: float) -> Judged:
        linear = self._picture(rig, paper, foil)
        found = self._measured(rig, linear)
        brighter = self._measured(rig, linear * np.float32(2.0**HEADROOM_STOPS))
        both = (merit(found, rig.look) + merit(brighter, rig.look)) / 2
        return Judged(rig=rig, merit=both, excess_mm=excess, measures=found)

    def _measured(self, rig: Rig, linear: Floats) -> Measures:
        assert self._maps is not None
        return measure(
            self._maps.with_linear(linear), rig.look, rig.sheet.foil.kind,
            stock_reflectance=rig.sheet.paper.reflectance,
        )  # fmt: skip

    def _powered(self, rig: Rig, light: LampLight, point: Doubles) -> Rig:
        """Set the powers that a point of the search stands for."""
        free = [v for v in self.space.trims if _is_on(rig, v.element)]
        if not free:
            return rig
        trims = self._first_powers(rig, light, free)
        offsets = point[len(self.space.geometry) :]
        for variable, share in zip(self._balance, offsets, strict=True):
            if variable.element in trims:
                trims[variable.element] += POWER_SPAN_STOPS * (2 * float(share) - 1)
        return self._set(rig, trims)

    def _set(self, rig: Rig, trims: dict[str, float]) -> Rig:
        """Set powers within their limits.

        Where the exposure follows the light and every lamp that is on can be dimmed,
        only proportions count, and the lamps are set as high as they can be: the room's
        light then counts least.
        """
        free = [v for v in self.space.trims if v.element in trims]
        if self._only_ratios:
            lift = min(v.high - trims[v.element] for v in free)
            trims = {name: t + lift for name, t in trims.items()}
        return set_values(
            rig, {(v.element, "trim_stops"): _between(trims[v.element], v) for v in free}
        )

    def _first_powers(self, rig: Rig, light: LampLight, free: list[Variable]) -> dict[str, float]:
        """Solve powers against the look's own levels (exact least squares)."""
        target, importance = self._targets(rig, *light.paper.shape[1:3])
        step = max(1, target.size // 2 // _PLACES)
        lamps = np.concatenate([_flat(light.paper), _flat(light.foil)], axis=1)[:, ::step]
        target, importance = target[::step], importance[::step]
        index = {n: i for i, n in enumerate(light.names)}
        chosen = [index[v.element] for v in free]
        trims = _trims(rig)
        others = [i for n, i in index.items() if i not in chosen and _is_on(rig, n)]
        fixed = sum((2.0 ** trims[light.names[i]] * lamps[i] for i in others), 0 * lamps[-1])
        low, high = [v.low for v in free], [v.high for v in free]
        weights = importance / np.maximum(target, 0.05) ** 2
        if rig.camera.exposure.f_number is None:
            found = solve_ratios(
                lamps[chosen], fixed, target, low_stops=low, high_stops=high, weights=weights
            )
        else:
            clip = self._model.clip_luminance(rig, light.paper[-1], light.foil[-1])
            scale = _PAPER_SHARE * clip / target[0]
            found = solve_powers(
                lamps[chosen], fixed + lamps[-1], scale * target,
                low_stops=low, high_stops=high, weights=weights,
            ).trim_stops  # fmt: skip
        return {v.element: float(t) for v, t in zip(free, found, strict=True)}

    def _targets(self, rig: Rig, rows: int, cols: int) -> tuple[Doubles, Doubles]:
        """Return wanted levels and weights, paper places first, then foil places."""
        share = np.asarray(self._model.foil_share(rig), float).ravel()
        paper, foil = wanted_levels(rig, rows, cols)
        target = np.concatenate([np.full(share.size, paper), foil.ravel()])
        return target, np.concatenate([_shared(1 - share), _shared(share)])

    def _refined(self, best: Judged, light: LampLight, steps: tuple[float, ...]) -> Judged:
        """Try each lamp, and all together, a step up and down until nothing is gained."""
        names = [v.element for v in self.space.trims if _is_on(best.rig, v.element)]
        together = [] if self._only_ratios or len(names) < 2 else [names]
        for step in steps:
            for _ in range(_MOST_ROUNDS):
                before = best.merit
                for chosen in [*([n] for n in names), *together]:
                    best = self._stepped(best, light, chosen, step)
                if best.merit <= before:
                    break
        return best

    def _stepped(self, best: Judged, light: LampLight, chosen: list[str], step: float) -> Judged:
        now = {n: t for n, t in _trims(best.rig).items() if _is_on(best.rig, n)}
        for change in (step, -step):
            rig = self._set(best.rig, {**now, **{n: now[n] + change for n in chosen}})
            if _trims(rig) != _trims(best.rig):
                other = self._judged(rig, *self._mixed(rig, light), best.excess_mm)
                if other.merit > best.merit + 1e-9:
                    return other
        return best


def _between(value: float, variable: Variable) -> float:
    return min(max(value, variable.low), variable.high)


def _trims(rig: Rig) -> dict[str, float]:
    return {lamp.name: lamp.trim_stops for lamp in rig.lamps}


def _is_on(rig: Rig, name: str) -> bool:
    return any(lamp.name == name and lamp.on for lamp in rig.lamps)


def _flat(light: Floats) -> Doubles:
    return luminance(np.asarray(light, float)).reshape(len(light), -1)


def _shared(share: Doubles) -> Doubles:
    """Return the importance of places of one material; each material counts half."""
    return share / max(float(share.sum()), 1e-9)
