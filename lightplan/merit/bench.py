"""The score of a rig: light, exact powers, measures, judgement, limits.

The same measures and the same judgement as for photographs. Whatever gives the light is
behind `LightModel`, so that the search can be tested on light with a known answer. While
searching, the light of each lamp is reduced to what the measures read (`Sampler`), once.
"""

from __future__ import annotations

from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from lightplan.arrays import even_picks
from lightplan.errors import RigError
from lightplan.light.exposure import exposed_by
from lightplan.measures import SheetMaps
from lightplan.measures.samples import MOST_PIXELS, Sampler
from lightplan.merit.balance import Balance, LampSamples, is_on, trims_of
from lightplan.merit.judged import FORGIVEN_MM, WORST, Judged, unbuildable
from lightplan.merit.judging import SampleJudge
from lightplan.merit.measured import measures_of
from lightplan.scene.clearance import total_excess_mm, unmovable
from lightplan.scene.dimensions import Space
from lightplan.search.minimise import simplex
from lightplan.search.trust_region import FORGIVEN, Stand

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.merit.light_model import LightModel
    from lightplan.scene import Rig, Sheet

POWER_STEPS = (0.25, 0.08, 0.03)
"""Steps in stops by which powers are refined, one after the other."""
_LAID_OUT: WeakKeyDictionary[Sheet, dict[tuple[int, ...], tuple[Singles, SheetMaps, Sampler]]] = (
    WeakKeyDictionary()
)
_MOST_ROUNDS = 12
_WAY_BACK = (0.2, 0.4, 0.6, 0.8)  # to the bench's own rig: where a broken point is tried
_REFINED = 3


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
        self._balance = Balance(rig, self.space.trims)

    @property
    def size(self) -> int:
        """How many numbers a point of the search has: geometry, then powers."""
        return len(self.space.geometry) + self._balance.size

    def point_of(self, rig: Rig) -> Doubles:
        """Return the point of a rig: its geometry and the powers that it has."""
        return np.concatenate([self.space.read(rig), self._balance.shares(trims_of(rig))])

    def with_own_powers(self, geometry: Doubles) -> Doubles:
        """Return the point of a geometry, with the powers of the bench's rig."""
        return np.concatenate([geometry, self._balance.shares(trims_of(self.rig))])

    def rig_at(self, point: Doubles) -> Rig:
        """Return the rig at a point."""
        return self._balance.set(self._placed(point), self._trims(point))

    def value(self, point: Doubles) -> float:
        """Return what the search makes small, at a point."""
        try:
            rig = self._placed(point)
        except RigError:
            return unbuildable(1e4)
        excess = self.excess_mm(rig)
        if excess > FORGIVEN_MM:
            return unbuildable(excess)
        return self.values_under([self.light(rig).values], [point])[0]

    def excess(self, points: Sequence[Doubles]) -> list[float]:
        """Return the sum of broken limits at points, mm; endless where the parts refuse one."""
        return [self._excess(point) for point in points]

    def smooth(self, points: Sequence[Doubles]) -> list[Singles | None]:
        """Return the light of each lamp at points, (l + 1, n, 3); None where one is refused."""
        return [self._smooth(point) for point in points]

    def values_under(self, parts: Sequence[Singles], points: Sequence[Doubles]) -> list[float]:
        """Return the values of points that keep all limits, their `smooth` light given."""
        lights = [
            mixed(self.rig, self._lamps_of(values), self._trims(point))
            for values, point in zip(parts, points, strict=True)
        ]
        return [min(-m, WORST) for m in self._judge.merits(self.rig, lights)[0]]

    def mean_values_under(
        self, parts: Sequence[Singles], points: Sequence[Doubles], changes: Sequence[Singles]
    ) -> list[float]:
        """Return the mean value of each point under some changes (k, 3) of its light, in cd/m2."""
        lights = [
            mixed(self.rig, self._lamps_of(values), self._trims(point)) + change
            for values, point in zip(parts, points, strict=True)
            for change in changes
        ]
        values = [min(-m, WORST) for m in self._judge.merits(self.rig, lights)[0]]
        means: list[float] = np.reshape(values, (len(points), len(changes))).mean(axis=1).tolist()
        return means

    def _excess(self, point: Doubles) -> float:
        try:
            return self.excess_mm(self._placed(point))
        except RigError:
            return np.inf

    def _smooth(self, point: Doubles) -> Singles | None:
        try:
            return self.light(self._placed(point)).values
        except RigError:
            return None

    def judge(self, rig: Rig) -> Judged:
        """Judge a rig with the powers that it has, by every pixel of its picture."""
        light = self._model.lamp_light(rig)
        powers = gains(rig, light.names, trims_of(rig))
        paper, foil, seen = (
            np.tensordot(powers, x, axes=1) for x in (light.paper, light.foil, light.seen)
        )
        share = self._share[..., None]
        clip = self._model.clip_luminance(rig, *exposed_by(paper, foil, self._share))
        mix = (share * seen + (1 - share) * paper) / np.float32(clip)
        linear = np.asarray(rig.camera.shown(mix), np.float32)
        found = measures_of(rig, self._maps.with_linear(linear))
        worth = self._judge.merits_of([found], self._sampler.sample(linear)[None])[0]
        return Judged(rig=rig, merit=worth, excess_mm=self.excess_mm(rig), measures=found)

    def judge_solved(self, rig: Rig) -> Judged:
        """Judge a rig with the best powers that its freedoms allow.

        Refined from the powers it has, or from the exact solution for the look's levels
        with lamps moved away from it, whichever is best.
        """
        light, tried = self._tried(rig)
        refined = [self._refined(j, light, POWER_STEPS[:1]) for j in tried[:_REFINED]]
        return self._refined(max(refined, key=lambda j: j.merit), light, POWER_STEPS)

    def judge_roughly(self, rig: Rig) -> Judged:
        """Judge a rig with powers that suit it, to a quarter of a stop."""
        light, tried = self._tried(rig)
        return self._refined(tried[0], light, POWER_STEPS[:1])

    def _tried(self, rig: Rig) -> tuple[LampSamples, list[Judged]]:
        """Return a rig's light, and the rig with many balances of its powers, best first."""
        light, excess = self.light(rig), self.excess_mm(rig)
        tries = [
            self._balance.set(rig, self._trims(p))
            for p in self._balances(self.point_of(rig), light)
        ]
        return light, sorted(self._judged(tries, light, excess), key=lambda j: -j.merit)

    def judge_refined(self, rig: Rig) -> Judged:
        """Judge a rig whose powers are nearly the best: they are refined in small steps."""
        light = self.light(rig)
        (judged,) = self._judged([rig], light, self.excess_mm(rig))
        return self._refined(judged, light, POWER_STEPS[1:])

    def begin(self, point: Doubles, radius: float) -> Stand | None:
        """Return where a search stands that begins at a point, with its best balance of powers.

        A point that breaks limits is moved until it keeps them; None where it cannot be.
        """
        kept = self._mended(point)
        values = None if kept is None else self._smooth(kept)
        if kept is None or values is None:
            return None
        balances = self._balances(kept, self._lamps_of(values))
        found = self.values_under([values] * len(balances), balances)
        best = int(np.argmin(found))
        return Stand(balances[best], found[best], values, radius)

    def stand_at(self, rig: Rig, radius: float) -> Stand:
        """Return where a search stands that begins at a rig, its powers as they are."""
        light, point = self.light(rig), self.point_of(rig)
        value = self.values_under([light.values], [point])[0]
        return Stand(point, value, light.values, radius)

    def _mended(self, point: Doubles) -> Doubles | None:
        """Return a point that keeps all limits, on the way to our own or near; None if none is."""
        count = len(self.space.geometry)
        if self._excess(point) <= FORGIVEN:
            return point
        if not count:
            return None
        if self._own is not None:
            for share in _WAY_BACK:
                pulled = point.copy()
                pulled[:count] += share * (self._own - point[:count])
                if self._excess(pulled) <= FORGIVEN:
                    return pulled

        def excess(geometry: Doubles) -> float:
            over = min(self._excess(geometry), 1e4)
            if over <= FORGIVEN:
                raise _Kept(geometry)
            return over

        try:
            simplex(excess, point[:count], size=0.15, tolerance=0.01, most=40 + 20 * count)
        except _Kept as kept:
            return np.concatenate([kept.geometry, point[count:]])
        return None

    def light(self, rig: Rig) -> LampSamples:
        """Return the light of each lamp alone at trim 0, as the measures read it."""
        light = self._model.lamp_light(rig)
        share, sampler = self._share[..., None], self._sampler
        both = light.seen - light.paper  # changed where it is: these are whole pictures
        both *= share
        both += light.paper
        seen = np.array([sampler.sample(picture) for picture in both])
        bare = light.foil.reshape(len(light.foil), -1, 3)[:, self._exposed_at]
        return LampSamples(light.names, np.concatenate([seen, bare], axis=1, dtype=np.float32))

    def sheet_samples(self, rig: Rig) -> Singles:
        """Return what the measures read of the sheet with the rig's powers, (k, 3) cd/m2."""
        light = self.light(rig)
        return mixed(rig, light, trims_of(rig))

    def scores(self, rigs: Sequence[Rig], samples: Sequence[Singles]) -> list[float]:
        """Return the scores (0 to 100) of rigs' sheets by their samples."""
        return self._judge.scores(rigs, samples)

    def excess_mm(self, rig: Rig) -> float:
        """Return the sum of broken limits, those of fixed things left out."""
        return total_excess_mm(rig, apart_from=self.excused)

    @cached_property
    def _own(self) -> Doubles | None:
        """The geometry of the bench's rig, if that keeps all limits."""
        own = self.space.read(self.rig)
        return own if self._excess(own) <= FORGIVEN else None

    @cached_property
    def _share(self) -> Singles:
        return np.asarray(self._model.foil_share(self.rig), np.float32)

    @cached_property
    def _exposed_at(self) -> Integers:
        """Places of foil that the exposure goes by, each for an equal part of its area."""
        return even_picks(self._share, MOST_PIXELS)

    @property
    def _maps(self) -> SheetMaps:
        """Maps of the sheet in the dark."""
        return self._laid_out[0]

    @property
    def _sampler(self) -> Sampler:
        return self._laid_out[1]

    @cached_property
    def _laid_out(self) -> tuple[SheetMaps, Sampler]:
        """What the artwork fixes of all measures; worked out once for a sheet and a grid."""
        sheet = self.rig.sheet
        known = _LAID_OUT.setdefault(sheet, {})
        shape = self._share.shape
        if shape not in known or known[shape][0] is not self._share:
            dark = np.zeros((*shape, 3), np.float32)
            maps = SheetMaps.from_linear(
                dark, self._share, width_mm=sheet.width_mm, height_mm=sheet.height_mm
            )
            known[shape] = self._share, maps, Sampler.of(maps.grid)
        return known[shape][1:]

    @cached_property
    def _judge(self) -> SampleJudge:
        return SampleJudge(self.rig, self._model, self._sampler)

    def _placed(self, point: Doubles) -> Rig:
        return self.space.apply(self.rig, point[: len(self.space.geometry)])

    def _lamps_of(self, values: Singles) -> LampSamples:
        return LampSamples(tuple(lamp.name for lamp in self.rig.lamps), values)

    def _trims(self, point: Doubles) -> dict[str, float]:
        return self._balance.trims(point[len(self.space.geometry) :])

    def _judged(self, rigs: Sequence[Rig], light: LampSamples, excess: float) -> list[Judged]:
        """Judge rigs that differ in their powers alone."""
        lights = [mixed(rig, light, trims_of(rig)) for rig in rigs]
        found = zip(rigs, *self._judge.merits(self.rig, lights), strict=True)
        return [Judged(rig=r, merit=m, excess_mm=excess, measures=x) for r, m, x in found]

    def _balances(self, point: Doubles, light: LampSamples) -> list[Doubles]:
        """Return a point with its own powers, with solved ones, and over their whole range.

        One power is tried in steps of 1.5 stops, the first two together in wider steps.
        """
        first, count = len(self.space.geometry), self._balance.size
        if not count:
            return [point]
        solved = self._balance.solved(self.rig, light, self._sampler, self._judge.clip_of)
        points = [point, np.concatenate([point[:first], self._balance.shares(solved)])]
        shares = np.linspace(0, 1, 9 if count < 2 else 5)
        for row in product(shares, repeat=min(count, 2)):
            moved = points[1].copy()
            moved[first : first + len(row)] = row
            points.append(moved)
        return points

    def _refined(self, best: Judged, light: LampSamples, steps: tuple[float, ...]) -> Judged:
        """Try each lamp, and all together, a step up and down until nothing is gained."""
        names = [v.element for v in self._balance.free]
        together = [] if self._balance.only_ratios or len(names) < 2 else [names]
        for step in steps:
            for _ in range(_MOST_ROUNDS):
                before = best.merit
                for chosen in [*([n] for n in names), *together]:
                    best = self._stepped(best, light, chosen, step)
                if best.merit <= before:
                    break
        return best

    def _stepped(self, best: Judged, light: LampSamples, chosen: list[str], step: float) -> Judged:
        trims = trims_of(best.rig)
        now = {v.element: trims[v.element] for v in self._balance.free}
        rigs = []
        for change in (step, -step):
            moved = {n: t + change * (n in chosen) for n, t in now.items()}
            rig = self._balance.set(best.rig, self._balance.limited(moved))
            if trims_of(rig) != trims:
                rigs.append(rig)
        others = self._judged(rigs, light, best.excess_mm)
        return next((other for other in others if other.merit > best.merit + 1e-9), best)


class _Kept(Exception):
    """Raised by a search for a point that keeps all limits, with what it found."""

    def __init__(self, geometry: Doubles) -> None:
        self.geometry = geometry
        super().__init__()


def mixed(rig: Rig, light: LampSamples, trims: dict[str, float]) -> Singles:
    """Return the samples of all lamps together with the surroundings, at given powers."""
    powers = gains(rig, light.names, trims)
    return np.asarray((powers @ light.values.reshape(len(powers), -1)).reshape(-1, 3), np.float32)


def gains(rig: Rig, names: tuple[str, ...], trims: dict[str, float]) -> Singles:
    """Return the factor of each lamp's light, and of the surroundings'."""
    factors = [2.0 ** trims[n] if is_on(rig, n) else 0.0 for n in names]
    return np.array([*factors, 1.0], np.float32)
