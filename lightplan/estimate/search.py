"""Which slip explains a photograph: one thing, two things, nothing, or what is not in the rig."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels, CellLight, to_stops
from lightplan.estimate.fit import Columns, Fitter, softened
from lightplan.estimate.hypothesis import Hypothesis, one_each
from lightplan.estimate.light_store import SLOPED, key_of
from lightplan.estimate.room_light import ROOM_CHANNELS, least_room, room_starts
from lightplan.estimate.unknowns import (
    CAMERA_SLIP_MM,
    Unknown,
    powers_of,
    step_of,
    steps_of,
    unknowns_of,
)

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.light_store import Key
    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig

_POWER_STEP = 0.25  # stops: what else a slope changes with
_FIRST, _FAR = 0.65, 1.6  # places looked at, in standard deviations of a slip
_PROMISING, _REFINED, _PAIRED, _CLOSER = 6, 3, 3, 4
_ROOM_SLIP = 12.0
_LEAST = 0.2  # of cost, that each round of settling must win
OFF = -14.0  # stops: a lamp that is not on


class FitSearch:
    """Looks for what is off in one photograph of a rig."""

    def __init__(self, rig: Rig, levels: CellLevels, fitter: Fitter, steady: float = 1.0) -> None:
        self.rig, self.levels, self.fitter = rig, levels, fitter
        self.unknowns = unknowns_of(rig, steady)
        self.powers = powers_of(rig, steady)
        self.base = levels.light(rig)
        self.settled: dict[Name, float] = {}
        self._kept: dict[Key, CellLight | None] = {(): self.base}
        self._taken: dict[Name, list[tuple[dict[Name, float], Doubles]]] = {}
        self._slopes = self._all_slopes()
        self.hand = self.power_columns(self.base, {}).joined(self._slopes)

    def settle(self) -> None:
        """Work on about the rig with the hand's errors that the plan is fitted with.

        Edges that much foil mirrors are off by more than slopes of the light reach.
        """
        plan = self.as_planned()
        for _ in range(3):
            names = [n for n in self._slopes.names if n[1] in SLOPED]
            kept = dict.fromkeys(names, 0.0) | self.settled
            if not self._settled_at({n: plan.fitted.values[n] for n in names}):
                return
            before, plan = plan, self.as_planned()
            if plan.cost > before.cost - _LEAST:
                self._settled_at(kept)
                return

    def _settled_at(self, values: dict[Name, float]) -> bool:
        light = self.levels.light_of(values)
        if light is None:
            return False
        self.settled = values
        self.base, self._slopes = light, self._slopes.moved_to(values)
        self.hand = self.power_columns(light, {}).joined(self._slopes)
        return True

    # --- light ------------------------------------------------------------------------------

    def geometry(self, values: dict[Name, float]) -> CellLight | None:
        """Return the light per lamp with things moved or taken away; None where that cannot be."""
        values = self._whole(values)
        key = key_of(values)
        if key not in self._kept:
            self._kept[key] = self.levels.light_of(values)
        return self._kept[key]

    def _whole(self, values: dict[Name, float]) -> dict[Name, float]:
        """Return values with the errors that were settled on for all else; none of what is gone."""
        gone = {element for element, dimension in values if dimension == "missing"}
        settled = {n: v for n, v in self.settled.items() if n[0] not in gone}
        return {**settled, **values}

    def look_ahead(self, wanted: Iterable[dict[Name, float]]) -> None:
        """Work out the light of many rigs, of which each will be asked for, two at a time."""
        whole = map(self._whole, wanted)
        self.levels.look_ahead([one for one in whole if key_of(one) not in self._kept])

    def mixed(self, values: dict[Name, float]) -> Doubles | None:
        """Return light (n, 3) of the rig with everything off by some values."""
        found = self.geometry(values)
        if found is None:
            return None
        powers = {n[0]: v for n, v in values.items() if n[1] == "power_stops"}
        lamps = {lamp.name for lamp in self.rig.lamps}
        powers |= {n[0]: OFF for n in values if n[1] == "missing" and n[0] in lamps}
        room = self.levels.room + self._more_room(values)
        return found.mixed(powers, room)

    def _more_room(self, values: dict[Name, float]) -> Doubles:
        more = [values.get(("room", c), 0.0) for c in ROOM_CHANNELS]
        return np.array(more) * self.room_unit

    @property
    def room_unit(self) -> float:
        """Units of surroundings that give a hundredth of what clips, on white paper."""
        return 0.01 * self.fitter.clip_cd_m2 / max(self._room_level(), 1e-9)

    def _room_level(self) -> float:
        """Return the paper's luminance under one unit of surroundings, cd/m2."""
        paper = ~self.fitter.seen.is_foil
        light = self.base.light[-1]
        return float(np.median(light[paper] if paper.any() else light))

    # --- columns ----------------------------------------------------------------------------

    def _all_slopes(self) -> Columns:
        return self.slopes_with({}).joined(softened(self.fitter.seen, self.levels.mixing()))

    def slopes_with(self, powers: dict[Name, float]) -> Columns:
        """Return what all but powers does to the levels, a step away, with some powers."""
        names, columns, start = [], [], self.mixed(powers)
        assert start is not None
        base = self._stops(start)
        self.look_ahead(steps_of(self.unknowns))
        for one in self.unknowns:
            step, name = step_of(one), (one.element, one.dimension)
            light = self.mixed({**powers, name: self.settled.get(name, 0.0) + step})
            if light is None:
                light = start
            names.append(name)
            columns.append((self._stops(light) - base) / step)
        sigmas = [one.hand for one in self.unknowns]
        return Columns.of(names, np.stack(columns, axis=-1), sigmas)

    def power_columns(self, found: CellLight, values: dict[Name, float]) -> Columns:
        """Return what powers do to the levels, exactly, about a rig's light with some powers."""
        powers = {n[0]: v for n, v in values.items() if n[1] == "power_stops"}
        whole = found.mixed(powers, self.levels.room + self._more_room(values))
        names, columns, sigmas, at = [], [], [], []
        for one in self.powers:
            i = found.names.index(one.element)
            own = found.light[i] * 2.0 ** powers.get(one.element, 0.0)
            columns.append(own / np.maximum(whole, 1e-9))
            names.append((one.element, "power_stops"))
            sigmas.append(one.hand)
            at.append(powers.get(one.element, 0.0))
        values_of = np.stack(columns, axis=-1) if names else np.zeros((*whole.shape, 0))
        return Columns.of(names, values_of, sigmas, at)

    def _room_columns(self, found: CellLight, values: dict[Name, float]) -> Columns:
        powers = {n[0]: v for n, v in values.items() if n[1] == "power_stops"}
        whole = found.mixed(powers, self.levels.room + self._more_room(values))
        share = found.light[-1] * self.room_unit / np.maximum(whole, 1e-9) / math.log(2)
        columns = np.zeros((*whole.shape, 3))
        for c in range(3):
            columns[:, c, c] = share[:, c]
        names = tuple(("room", c) for c in ROOM_CHANNELS)
        at = [values.get(n, 0.0) for n in names]
        return Columns.of(names, columns, [_ROOM_SLIP] * 3, at)

    def _stops(self, light: Doubles) -> Doubles:
        return to_stops(light, self.fitter.clip_cd_m2)

    # --- hypotheses -------------------------------------------------------------------------

    def as_planned(self) -> Hypothesis:
        """Return the plan with the errors of a hand."""
        light = self.base.mixed({}, self.levels.room)
        fitted = self.fitter.fit(light, self.hand)
        return Hypothesis({}, fitted, 0, fitted.cost, light)

    def at(
        self, values: dict[Name, float], slips: int, *, closely: bool = True
    ) -> Hypothesis | None:
        """Return a hypothesis as it stands: its own values fixed but for one linear step.

        Unless looked at closely, slopes about the plan serve for that step.
        """
        found, light = self.geometry(values), self.mixed(values)
        if found is None or light is None:
            return None
        columns = self._columns(found, values, light, closely=closely)
        wide = self.fitter.fit(light, columns)
        # what it is worth here: only a hand's step away is believed without being tried
        near = {n: self._hand_sigma(n) for n in values if n in columns.names}
        here = self.fitter.fit(light, columns.with_sigma(near, here=True), wide.exposure)
        far = sum((v / self._slip_sigma(n)) ** 2 for n, v in values.items() if n in near)
        return Hypothesis(values, wide, slips, here.cost + far, light)

    def _columns(
        self, found: CellLight, values: dict[Name, float], light: Doubles, *, closely: bool
    ) -> Columns:
        free = set(values)
        wide = {n: self._slip_sigma(n) for n in free}
        columns = self.power_columns(found, values)
        # nearer to the plan than the step by which its slopes were taken they serve as well
        own = [n for n in values if n[1] in SLOPED and not self._within(n, values[n])]
        columns = columns.joined(self._slopes.moved_to(values))
        if own and closely:
            columns = columns.without(set(own))
            columns = columns.joined(self._own_slopes(values, own, light))
        if any(n[0] == "room" for n in free):
            columns = columns.joined(self._room_columns(found, values))
        gone = {name for name, dimension in free if dimension == "missing"}
        columns = columns.without({n for n in columns.names if n[0] in gone})
        return columns.with_sigma(wide)

    def _own_slopes(self, values: dict[Name, float], own: list[Name], light: Doubles) -> Columns:
        base, known = self._stops(light), {n: self._taken_near(n, values) for n in own}
        steps = {
            n: step_of(self._unknown(n)) * (-1 if values[n] > 0 else 1)
            for n in own
            if known[n] is None
        }
        self.look_ahead({**values, n: values[n] + step} for n, step in steps.items())
        for name, step in steps.items():
            other = self.mixed({**values, name: values[name] + step})
            slope = np.zeros_like(base) if other is None else (self._stops(other) - base) / step
            self._taken.setdefault(name, []).append((dict(values), slope))
            known[name] = slope
        slopes = [slope for slope in known.values() if slope is not None]
        sigmas = [self._unknown(n).slip for n in own]
        return Columns.of(own, np.stack(slopes, -1), sigmas, [values[n] for n in own])

    def _taken_near(self, name: Name, values: dict[Name, float]) -> Doubles | None:
        """Return the slope of a dimension where it was taken no more than a step away."""
        for there, slope in self._taken.get(name, []):
            if there.keys() == values.keys() and all(
                self._within(n, v - there[n]) for n, v in values.items()
            ):
                return slope
        return None

    def _within(self, name: Name, away: float) -> bool:
        """Whether a rig off by so much in a dimension has about the same slopes."""
        if name[1] == "power_stops":
            return abs(away) <= _POWER_STEP
        if name[1] not in SLOPED:
            return away == 0
        return abs(away) <= step_of(self._unknown(name))

    def _unknown(self, name: Name) -> Unknown:
        return next(u for u in self.unknowns if (u.element, u.dimension) == name)

    def _hand_sigma(self, name: Name) -> float:
        if name[0] == "room":
            return 0.3
        if name[1] == "power_stops":
            return 0.06
        return self._unknown(name).hand

    def _slip_sigma(self, name: Name) -> float:
        if name[0] == "room":
            return _ROOM_SLIP
        if name[1] == "power_stops":
            return 1.0
        return self._unknown(name).slip if name[1] in SLOPED else 1.0

    def refined(self, start: Hypothesis, rounds: int = 2) -> Hypothesis:
        """Step to where the fit wants the values, as long as that helps."""
        best = start
        for _ in range(rounds):
            wanted = {n: best.fitted.values.get(n, v) for n, v in best.values.items()}
            other = self._between(best, wanted)
            if other is None or other.cost > best.cost - 0.05:
                break
            best = other
        return best

    def _between(self, best: Hypothesis, wanted: dict[Name, float]) -> Hypothesis | None:
        for share in (1.0, 0.4):
            values = {
                n: v + share * (self._limited(n, wanted[n], v) - v) for n, v in best.values.items()
            }
            other = self.at(values, best.slips)
            if other is not None and other.cost < best.cost:
                return other
        return None

    def _limited(self, name: Name, wanted: float, now: float) -> float:
        if name[0] == "room":
            return max(wanted, least_room(self.levels, self.room_unit)[name])
        if name[1] not in SLOPED:
            return wanted
        reach = self._unknown(name).slip
        return float(np.clip(wanted, max(now - reach, -3 * reach), min(now + reach, 3 * reach)))

    def singles(self) -> list[Hypothesis]:
        """Return one thing off at a time, best first."""
        plan = self.as_planned()
        found = [*self._missing(), *self._room(), *self._powers()]
        lens = self._lens()
        found += lens
        found += self._scanned(self._promising(plan))
        found.sort(key=lambda h: h.cost)
        kept = one_each(found)
        refined = [self.refined(h) for h in kept[:_REFINED]]
        return sorted([*refined, *kept[_REFINED:]], key=lambda h: h.cost)

    def _promising(self, plan: Hypothesis) -> list[Name]:
        """Return the dimensions whose own slope explains most, as far as it is straight."""
        worth = []
        light = plan.light
        for one in self.unknowns:
            name = (one.element, one.dimension)
            if one.element == "camera":
                continue
            wide = self.fitter.fit(
                light, self.hand.with_sigma({name: one.slip}), plan.fitted.exposure
            )
            worth.append((plan.fitted.cost - wide.cost, name))
        worth.sort(key=lambda w: -w[0])
        return [name for _, name in worth[:_PROMISING]]

    def _scanned(self, names: Sequence[Name]) -> list[Hypothesis]:
        """Return the best of some places of each dimension."""
        slips = {name: self._unknown(name).slip for name in names}
        ways = (-_FIRST, _FIRST)
        self.look_ahead({n: way * slip} for n, slip in slips.items() for way in ways)
        best = {n: self._best_at(n, [way * slip for way in ways]) for n, slip in slips.items()}
        more = {
            n: [math.copysign(_FAR * slips[n], h.values[n]), 0.3 * h.values[n]]
            for n, h in best.items()
            if h is not None
        }
        self.look_ahead({n: value} for n, values in more.items() for value in values)
        found = [[best[n], self._best_at(n, values)] for n, values in more.items()]
        return [min((h for h in two if h is not None), key=lambda h: h.cost) for two in found]

    def _best_at(self, name: Name, values: Sequence[float]) -> Hypothesis | None:
        tried = [self.at({name: value}, 1, closely=False) for value in values]
        return min((h for h in tried if h is not None), key=lambda h: h.cost, default=None)

    def _powers(self) -> Iterable[Hypothesis]:
        for one in self.powers:
            lamp = next(x for x in self.rig.lamps if x.name == one.element)
            if lamp.is_window:
                continue
            name = (one.element, "power_stops")
            tried = [self.at({name: v}, 1) for v in (-1.2, -0.5, 0.5, 1.2)]
            known = [h for h in tried if h is not None]
            yield min(known, key=lambda h: h.cost)

    def _missing(self) -> Iterable[Hypothesis]:
        names = [x.name for x in self.rig.lamps if x.on and not x.is_window]
        names += [x.name for x in self.rig.cards] + [x.name for x in self.rig.shells]
        self.look_ahead({(name, "missing"): 1.0} for name in names)
        for name in names:
            found = self.at({(name, "missing"): 1.0}, 1)
            if found is not None:
                yield found

    def _room(self) -> Iterable[Hypothesis]:
        for values in room_starts(self.levels, self.room_unit, self.fitter.clip_cd_m2):
            found = self.at(values, 1)
            if found is not None:
                yield self.refined(found, 3)

    def _lens(self) -> list[Hypothesis]:
        names: list[Name] = [("camera", axis) for axis in ("x_mm", "y_mm", "z_mm")]
        place = self.fitter.place
        if place is None:
            return []
        prior = np.eye(3) / CAMERA_SLIP_MM**2
        inverse = np.linalg.inv(place.covariance)
        middle = np.linalg.solve(prior + inverse, inverse @ place.offset_mm)
        found = self.at({n: float(v) for n, v in zip(names, middle, strict=True)}, 1)
        return [] if found is None else [self.refined(found, 1)]

    def pairs(self, singles: list[Hypothesis]) -> list[Hypothesis]:
        """Return two things off at a time, begun from the best single ones."""
        tried: dict[frozenset[Name], dict[Name, float]] = {}
        best = singles[0].cost
        for one in singles[:_PAIRED]:
            if one.cost > best + 25:
                continue
            for other in singles:
                if set(other.elements) & set(one.elements) or other.cost > best + 60:
                    continue
                both = {**one.values, **other.values}
                tried.setdefault(frozenset(both), both)
        self.look_ahead(tried.values())
        rough = [self.at(both, 2, closely=False) for both in tried.values()]
        found = sorted((h for h in rough if h is not None), key=lambda h: h.cost)
        near = [self.at(h.values, 2) for h in found[:_CLOSER]]
        close = sorted((h for h in near if h is not None), key=lambda h: h.cost)
        refined = [self.refined(h) for h in close[:2]]
        return sorted([*refined, *close[2:], *found[_CLOSER:]], key=lambda h: h.cost)
