"""What photographs cannot tell of a set, and what would: from the curvature of the fit.

Each thing is let go as far as slips go, all else as far as a hand errs. Where what is known of it
after the fit is hardly less uncertain than before, the data say nothing; where place and power of a
lamp are uncertain together, they cannot be told apart. What a second photograph with a lamp off
would add is worked out from the light of each lamp, which the search has by then.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from lightplan.estimate.search import OFF
from lightplan.estimate.strip_pays import added_by_strips
from lightplan.scene.dimensions import element_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.estimate.search import FitSearch
    from lightplan.estimate.solving import Name

Kind = Literal["distance and power", "distance", "sideways", "height", "facing", "bow"]
MOVES = ("x_mm", "y_mm", "z_mm")
TURNS = ("turn_deg", "lean_deg")
UNTOLD = 0.75
"""Share of a slip's deviation left after the fit, from which a thing counts as not told. Ours."""
TOGETHER = 0.7
"""Correlation of distance and power from which they cannot be told apart. Ours."""
LEAST_FAR_MM = 20.0
"""Deviation of a lamp's distance from which it is worth telling: four errors of a tape. Ours."""
HALVED = 0.6
"""Of its deviation: a second photograph that leaves no more than this pays. Ours."""
HIDES = 3.0
"""Deviations by which one thing may be off unnoticed between two frames: what a change must
explain to be told is the square of it (`frame_change.COST_OF_CHANGE`)."""
HIDDEN = {"mm": 15.0, "deg": 1.5}
"""How far that must be to be worth words: half as much again as a drift that is to be found."""
LEAST_PART = 0.05
"""Of a unit vector: what is less is not let go with it. Ours."""
STRIPS_FOR = 2
"""Things, the worst first, for which it is worked out where a strip of foil would tell them."""
PIN_DEG = 1.0
"""How surely a pin's shadow tells the direction of a lamp: what `pin` found in trials."""


@dataclass(frozen=True)
class Doubt:
    """One thing that is not determined.

    Attributes
    ----------
    element : str
    kind : str
    sigma, unit : float and str
        Standard deviation that is left of it.
    share : float
        Of what it would be without any photograph.
    with_stops : float
        Stops of power that go with one deviation of distance; 0 for what has none.
    second : str
        Lamp that is to be off in a second photograph which would tell it; empty where none would.
    second_sigma : float
        What would be left then.
    pin_sigma : float or None
        What would be left with the shadow of a pin; None where that would not halve it.
    strip, strip_sigma : str and float
        Side of the sheet on which a strip of its foil would tell it, and what would be left
        then; empty where none would.
    """

    element: str
    kind: Kind
    sigma: float
    unit: str
    share: float
    with_stops: float = 0.0
    second: str = ""
    second_sigma: float = 0.0
    pin_sigma: float | None = None
    strip: str = ""
    strip_sigma: float = 0.0


def doubts_of(search: FitSearch, best: Hypothesis) -> tuple[Doubt, ...]:
    """Return what the photographs of a search leave open about its best explanation."""
    curve = Curvature.of(search, best)
    gone = {name for name, dimension in best.values if dimension == "missing"}
    names = [n for n in dict.fromkeys(u.element for u in search.unknowns) if n not in gone]
    found = [d for n in names if n not in ("camera", "sheet") for d in _doubts(search, curve, n)]
    lamps = [one.element for one in search.powers]
    several = search.fitter.count > 1 or len(lamps) < 2 or not found
    added = {} if several else {lamp: _added(search, curve, lamp) for lamp in lamps}
    told = [_with_second(search, curve, one, added) for one in found]
    # what may be two things at once is worse than what shows nothing and costs nothing
    ranked = sorted(told, key=lambda d: (d.kind != "distance and power", -d.share))
    return tuple(_with_strip(search, best, curve, ranked))


def _with_strip(
    search: FitSearch, best: Hypothesis, curve: Curvature, doubts: Sequence[Doubt]
) -> Iterator[Doubt]:
    """Yield doubts with the side on which a strip of foil would tell it, the worst few asked."""
    asked = list(dict.fromkeys(d.element for d in doubts))[:STRIPS_FOR]
    plain = search.rig.sheet.foil.grating is None
    has_one = search.fitter.on_sheet < len(search.fitter.seen)
    if not asked or not plain or has_one or search.fitter.count > 1:
        yield from doubts
        return
    added = added_by_strips(search, best, curve.names, set(asked))
    for doubt in doubts:
        sigmas = {s: _left(search, curve, doubt, more) for s, more in added.items()}
        side = min(sigmas, key=lambda s: sigmas[s], default=None)
        if doubt.element not in asked or side is None or sigmas[side] > HALVED * doubt.sigma:
            yield doubt
        else:
            yield replace(doubt, strip=side, strip_sigma=sigmas[side])


def unseen_of(search: FitSearch, best: Hypothesis) -> tuple[Doubt, ...]:
    """Return what may have drifted, alone, between two frames without showing; worst first."""
    curve, told = Curvature.of(search, best), {n[0] for n in best.values}
    names = dict.fromkeys(u.element for u in search.unknowns)
    things = [n for n in names if n not in ("camera", "sheet") and n not in told]
    found = [doubt for name in things for doubt in _unseen(search, curve, name)]
    return tuple(sorted(found, key=lambda d: -d.share))


def _unseen(search: FitSearch, curve: Curvature, element: str) -> Iterator[Doubt]:
    slips = {n[1]: s for n, s in zip(curve.names, curve.slip, strict=True) if n[0] == element}
    for kind, way in _ways(search, element):
        free = [(element, d) for d, share in way.items() if abs(share) > LEAST_PART]
        names, covariance = curve.covariance(free)
        row = _row(names, way)
        if not row.any():
            continue
        sigma = float(np.sqrt(row @ covariance @ row))
        unit = "deg" if kind == "facing" else "mm"
        if HIDES * sigma > HIDDEN[unit]:
            yield Doubt(element, kind, sigma, unit, sigma / _prior(way, slips))


def uncertainty(search: FitSearch, best: Hypothesis, lamp: str) -> dict[str, float]:
    """Return what is left uncertain of a lamp's distance and power, each going as far as slips."""
    names, covariance = Curvature.of(search, best).covariance(
        [(lamp, d) for d in (*MOVES, *TURNS, "power_stops")]
    )
    far = _row(names, dict(_ways(search, lamp))["distance"])
    power = _row(names, {"power_stops": 1.0})
    return {
        "distance_mm": float(np.sqrt(far @ covariance @ far)),
        "power_stops": float(np.sqrt(power @ covariance @ power)),
    }


@dataclass(frozen=True, eq=False)
class Curvature:
    """The inverse covariance of a fit with every thing as sure as a hand makes it.

    Attributes
    ----------
    names : (k,) of (element, dimension)
    normal : (k, k) float
    hand, slip : (k,) float
        Deviations of a hand's errors and of slips; nought for what is neither.
    """

    names: tuple[Name, ...]
    normal: Doubles
    hand: Doubles
    slip: Doubles

    @classmethod
    def of(cls, search: FitSearch, best: Hypothesis) -> Curvature:
        """Return that of a hypothesis as it was fitted."""
        fitted = best.fitted
        all_of = (*search.unknowns, *search.powers)
        hands = {(u.element, u.dimension): u.hand for u in all_of}
        slips = {(u.element, u.dimension): u.slip for u in all_of}
        hand = np.array([hands.get(n, 0.0) for n in fitted.names])
        slip = np.array([slips.get(n, 0.0) for n in fitted.names])
        normal = np.asarray(np.linalg.inv(fitted.covariance), float)
        for i, name in enumerate(fitted.names):
            if name in best.values and hand[i] > 0:  # fitted with a slip's deviation
                normal[i, i] += 1 / hand[i] ** 2 - 1 / slip[i] ** 2
        return cls(fitted.names, normal, hand, slip)

    def covariance(
        self, free: Sequence[Name], more: Doubles | None = None
    ) -> tuple[list[Name], Doubles]:
        """Return the covariance of some unknowns where these go as far as slips.

        `more` is what another photograph would add to the normal matrix.
        """
        normal = self.normal if more is None else self.normal + more
        normal = normal.copy()
        at = [i for i, name in enumerate(self.names) if name in free]
        for i in at:
            normal[i, i] += 1 / self.slip[i] ** 2 - 1 / self.hand[i] ** 2
        covariance = np.linalg.inv(normal)[np.ix_(at, at)]
        return [self.names[i] for i in at], np.asarray(covariance, float)


def _doubts(search: FitSearch, curve: Curvature, element: str) -> Iterator[Doubt]:
    names, covariance = curve.covariance([n for n in curve.names if n[0] == element])
    if not names:
        return
    slips = {n[1]: s for n, s in zip(curve.names, curve.slip, strict=True) if n[0] == element}
    ways: dict[Kind, dict[str, float]] = dict(_ways(search, element))
    power = _row(names, {"power_stops": 1.0})
    if "distance" in ways and power.any():
        far, bright = ways.pop("distance"), power
        rows = np.stack([_row(names, far), bright])
        block = rows @ covariance @ rows.T
        sigma, stops = np.sqrt(np.diag(block))
        together = block[0, 1] / max(sigma * stops, 1e-12)
        if together > TOGETHER and sigma > LEAST_FAR_MM:
            share = float(sigma / _prior(far, slips))
            yield Doubt(
                element, "distance and power", float(sigma), "mm", share, float(block[0, 1] / sigma)
            )
    for kind, way in ways.items():
        row = _row(names, way)
        if not row.any():
            continue
        sigma = float(np.sqrt(row @ covariance @ row))
        share = sigma / _prior(way, slips)
        if share > UNTOLD:
            unit = "deg" if kind == "facing" else "mm"
            yield Doubt(
                element, kind, sigma, unit, share, pin_sigma=_with_pin(search, element, kind, sigma)
            )


def _with_pin(search: FitSearch, element: str, kind: Kind, sigma: float) -> float | None:
    """Return what a pin's shadow would leave of a lamp's place across; None where it pays not."""
    lamp = next((x for x in search.rig.lamps if x.name == element), None)
    if lamp is None or kind != "sideways":
        return None
    across = math.dist(lamp.placement.position_mm, (0.0, 0.0, 0.0)) * math.radians(PIN_DEG)
    left = 1 / math.hypot(1 / sigma, 1 / across)
    return left if left < HALVED * sigma else None


def _ways(search: FitSearch, element: str) -> Iterator[tuple[Kind, dict[str, float]]]:
    """Yield the ways in which a thing may be off that a maker has a word for, unit vectors."""
    thing = element_of(search.rig, element)
    placement = getattr(thing, "placement", None)
    lamps = {lamp.name for lamp in search.rig.lamps}
    if placement is None:
        yield "sideways", {"x_mm": 1.0}
        return
    right, up, forward = placement.axes()
    if element in lamps:
        yield "distance", dict(zip(MOVES, (-np.asarray(forward)).tolist(), strict=True))
        yield "facing", {"turn_deg": 1.0}
    for axis in (right, up):
        kind: Kind = "height" if abs(axis[2]) > 0.7 else "sideways"
        yield kind, dict(zip(MOVES, np.asarray(axis).tolist(), strict=True))


def _row(names: Sequence[Name], way: Mapping[str, float]) -> Doubles:
    return np.array([way.get(dimension, 0.0) for _, dimension in names])


def _prior(way: Mapping[str, float], slips: Mapping[str, float]) -> float:
    parts = [(value * slips.get(d, 0.0)) ** 2 for d, value in way.items()]
    return float(np.sqrt(sum(parts)))


def _with_second(
    search: FitSearch, curve: Curvature, doubt: Doubt, added: Mapping[str, Doubles]
) -> Doubt:
    """Return a doubt with the lamp that is to be off in the photograph which would tell it.

    `added` is what a photograph with each lamp off would add to the normal matrix.
    """
    least, which = np.inf, ""
    for lamp, more in added.items():
        sigma = _left(search, curve, doubt, more)
        if sigma < least:
            least, which = sigma, lamp
    if least > HALVED * doubt.sigma:
        return doubt
    return replace(doubt, second=which, second_sigma=least)


def _left(search: FitSearch, curve: Curvature, doubt: Doubt, more: Doubles) -> float:
    """Return the deviation of what is doubted that would be left with more data."""
    ways = dict(_ways(search, doubt.element))
    way = ways.get("distance" if doubt.kind == "distance and power" else doubt.kind, {})
    own = [n for n in curve.names if n[0] == doubt.element]
    names, covariance = curve.covariance(own, more)
    row = _row(names, way)
    return float(np.sqrt(row @ covariance @ row))


def _added(search: FitSearch, curve: Curvature, lamp: str) -> Doubles:
    """Return what a photograph with one lamp off would add to the normal matrix.

    It has an exposure, a white balance and so on of its own, which are taken out; the light of
    each lamp where a thing is moved a step is what the search took its slopes from.
    """
    off: dict[Name, float] = {(lamp, "power_stops"): OFF}
    light = search.mixed(off)
    assert light is not None
    columns = search.slopes_with(off).joined(search.power_columns(search.base, off))
    system = search.fitter.system(light, columns, 0.0)
    precision = system.weight / system.spread**2
    own = [i for i, n in enumerate(system.names) if n[0] == "camera's"]
    there = [
        i
        for i, n in enumerate(system.names)
        if n in curve.names and i not in own and n != (lamp, "power_stops")
    ]
    rows, cameras = system.rows[:, there], system.rows[:, own]
    weighted = cameras.T * precision
    inner = weighted @ cameras + system.information[np.ix_(own, own)]
    cross = weighted @ rows
    block = (rows.T * precision) @ rows - cross.T @ np.linalg.solve(inner, cross)
    place = [curve.names.index(system.names[i]) for i in there]
    found = np.zeros_like(curve.normal)
    found[np.ix_(place, place)] = block
    return found
