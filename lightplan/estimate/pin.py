"""A pin of known height on the sheet: its shadows tell where the lamps stand.

An upright pin throws one shadow a lamp, and the shadow's direction and length are those of the
lamp's light. That pins on a board calibrate lights well is shown by Santo, Waechter, Lin, Sugano
and Matsushita, "Light Structure from Pin Motion" (ECCV 2018, doi 10.1007/978-3-030-01219-9_1), for
small lamps and a board that is moved. Here the board is the sheet, it lies still, and the lamps
have faces that soften the shadow: how much of a lamp's face the pin hides from each place of the
paper is worked out, and lamps are moved across the line of sight until shade and photograph agree.
How far away a lamp stands a shadow does not tell, nor, of a soft one, how high: its end is nowhere.
Which way the lamp stands is what is handed on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.solving import Known

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Booleans, Doubles, Singles
    from lightplan.scene import Lamp, Rig

STEP_MM = 1.0
"""Pixel of the map that is looked at, at the least a fifth of the pin's height: see `_step`."""
FACE_SPOTS = 7
"""Along each side of a lamp's face."""
LONGEST = 3.0
"""Of the pin's height: what is farther from its foot is not looked at."""
ACROSS_MM = 70.0
"""Standard deviation of a lamp's place before, as of a slip."""
OWN_MM_PER_M = 12.0
"""What the shadow's model errs by, across the line of sight at a metre: from trials."""
TOGETHER = 4.0
"""Pixels of the map that err together."""
LEAST_GAIN = 40.0
"""Drop of the misfit, in squared deviations, from which a shadow is one and not grain. Ours."""
FOOT_MM = 2.0
"""How well a maker measures where the pin stands: common practice, no source."""
ROUNDS = 12
USUAL, SHARE, LEAST_DIRECT = 0.85, 0.25, 0.35
"""Share of a lamp's light that comes straight from it, with its standard deviation; a lamp with
less (behind a screen, bounced off a card) throws no shadow of its own. Ours."""
LEAST_TOLD = 0.6
"""Of `ACROSS_MM`: a lamp whose shadow leaves more than this is not told by it."""


@dataclass(frozen=True)
class Pin:
    """An upright pin, peg or dowel of round section.

    Attributes
    ----------
    height_mm, thick_mm : float
    foot_mm : (2,) float
        Where it stands on the sheet, from its middle.
    """

    height_mm: float
    thick_mm: float
    foot_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class PaperSeen:
    """The sheet as it was photographed with the pin on it, squared.

    Attributes
    ----------
    level : (rows, cols) float
        Linear, far edge first.
    paper : (rows, cols) bool
        Pixels of bare paper.
    width_mm, height_mm : float
    lens_mm : (3,) float
    shares : mapping of str to float
        Of the paper's light, by lamp.
    """

    level: Singles
    paper: Booleans
    width_mm: float
    height_mm: float
    lens_mm: Doubles
    shares: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class PinFound:
    """Where the pin stands and what its shadows tell.

    Attributes
    ----------
    foot_mm : (2,) float
    known : Known
        Of the lamps' places across the line of sight from the foot, along the table.
    sigmas_mm : dict
        By lamp, the deviation of its place across, along the table.
    """

    foot_mm: tuple[float, float]
    known: Known
    sigmas_mm: dict[str, float]


def find_pin(rig: Rig, paper: PaperSeen, pin: Pin) -> PinFound | None:
    """Return what the shadows of a pin tell; None where none is found.

    Parameters
    ----------
    rig : Rig
        As planned, or as it is known to stand.
    """
    lamps = [x for x in rig.lamps if x.on and x.name in paper.shares and not x.is_window]
    maps = _Map.of(paper, pin)
    if not lamps or maps is None:
        return None
    fit = _PinFit(maps, lamps, paper, pin)
    if not fit.usable or fit.solved().gain < LEAST_GAIN:
        return None
    found = fit.found()
    return found if found.known.names else None


def shade(
    points: Doubles, foot: Doubles, pin: Pin, spots: Doubles, facing: Doubles | None, soft_mm: float
) -> Doubles:
    """Return the share of a lamp's light that a pin hides from places of the sheet.

    Parameters
    ----------
    points : (n, 2) float
    foot : (2,) float
    spots : (s, 3) float
        Of the lamp's face.
    facing : (3,) float or None
        Where the face looks; None for a bulb.
    soft_mm : float
        Over how much the pin's edge is spread, for pixels have a size.

    Returns
    -------
    (n,) float
    """
    way = spots[None, :, :2] - points[:, None, :]
    flat = np.maximum(np.hypot(way[..., 0], way[..., 1]), 1e-6)
    to_pin = foot - points
    along = (way[..., 0] * to_pin[:, None, 0] + way[..., 1] * to_pin[:, None, 1]) / flat
    aside = np.abs(way[..., 0] * to_pin[:, None, 1] - way[..., 1] * to_pin[:, None, 0]) / flat
    radius = pin.thick_mm / 2
    chord = np.sqrt(np.maximum(radius**2 - aside**2, 0.0))
    height = np.maximum(along - chord, 0.0) / flat * spots[None, :, 2]
    hidden = _soft(radius - aside, soft_mm) * _soft(pin.height_mm - height, soft_mm)
    hidden *= _soft(along, soft_mm)
    far2 = flat**2 + spots[None, :, 2] ** 2
    weight = spots[None, :, 2] / far2**1.5
    if facing is not None:
        out = -(way @ facing[:2] + spots[None, :, 2] * facing[2])
        weight = weight * np.maximum(out, 0.0) / np.sqrt(far2)
    return np.asarray((hidden * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-12))


def _soft(value: Doubles, width: float) -> Doubles:
    return np.asarray(1 / (1 + np.exp(-np.clip(4 * value / width, -40, 40))))


def face_spots(lamp: Lamp) -> tuple[Doubles, Doubles | None]:
    """Return spots of a lamp's face (s, 3), and where it looks; None for a bulb."""
    right, up, forward = lamp.placement.axes()
    even = (np.arange(FACE_SPOTS) + 0.5) / FACE_SPOTS - 0.5
    u, v = (axis.ravel() for axis in np.meshgrid(even, even))
    if lamp.shape != "rectangle":
        inside = u**2 + v**2 <= 0.25
        u, v = u[inside], v[inside]
    spots = np.asarray(lamp.placement.position_mm) + np.outer(u * lamp.width_mm, right)
    high = lamp.height_mm if lamp.shape == "rectangle" else lamp.width_mm
    spots = spots + np.outer(v * high, up)
    return spots, None if lamp.shape == "bulb" else np.asarray(forward, float)


@dataclass(frozen=True, eq=False)
class _Map:
    """Levels of the paper in stops, on square pixels, with what light does smoothly taken off."""

    stops: Doubles
    paper: Booleans
    x_mm: Doubles
    y_mm: Doubles
    step_mm: float

    @classmethod
    def of(cls, seen: PaperSeen, pin: Pin) -> _Map | None:
        rows, cols = seen.level.shape
        step = max(STEP_MM, pin.thick_mm / 4, seen.width_mm / cols)
        shape = max(8, round(seen.height_mm / step)), max(8, round(seen.width_mm / step))
        at_row = np.minimum((np.arange(rows) * shape[0]) // rows, shape[0] - 1)
        at_col = np.minimum((np.arange(cols) * shape[1]) // cols, shape[1] - 1)
        at = (at_row[:, None] * shape[1] + at_col).ravel()
        good = (seen.paper & (seen.level > 1e-4)).ravel()
        count = np.bincount(at[good], minlength=shape[0] * shape[1])
        total = np.bincount(at[good], seen.level.ravel()[good], minlength=shape[0] * shape[1])
        whole = np.bincount(at, minlength=shape[0] * shape[1])
        paper = (count >= 0.8 * np.maximum(whole, 1)).reshape(shape)
        if paper.mean() < 0.05:
            return None
        level = (total / np.maximum(count, 1)).reshape(shape)
        stops = np.where(paper, np.log2(np.maximum(level, 1e-4)), 0.0)
        x = ((np.arange(shape[1]) + 0.5) / shape[1] - 0.5) * seen.width_mm
        y = (0.5 - (np.arange(shape[0]) + 0.5) / shape[0]) * seen.height_mm
        return cls(stops, paper, x, y, float(step))


def _shadow(
    points: Doubles,
    foot: Doubles,
    lamps: Sequence[Lamp],
    steps: Sequence[Doubles],
    direct: Sequence[float],
    shares: Mapping[str, float],
    pin: Pin,
    soft_mm: float,
) -> Doubles:
    """Return by how many stops a pin darkens places of the sheet, lamps moved by steps.

    `direct` is the share of each lamp's light that comes from itself and not by way of cards.
    """
    lost = np.zeros(len(points))
    for lamp, step, own in zip(lamps, steps, direct, strict=True):
        spots, facing = face_spots(lamp)
        lost += own * shares[lamp.name] * shade(points, foot, pin, spots + step, facing, soft_mm)
    return np.asarray(np.log2(np.maximum(1 - lost, 1e-3)))


class _PinFit:
    """Fits foot and lamps to the shadows."""

    def __init__(self, maps: _Map, lamps: Sequence[Lamp], seen: PaperSeen, pin: Pin) -> None:
        foot = np.array(pin.foot_mm, float)
        self._lamps, self._seen, self._pin, self._soft = lamps, seen, pin, maps.step_mm
        x, y = np.meshgrid(maps.x_mm, maps.y_mm)
        near = np.hypot(x - foot[0], y - foot[1]) < LONGEST * pin.height_mm
        near &= maps.paper & ~self._body(x, y, foot)
        self._points = np.stack([x[near], y[near]], axis=1)
        self._stops = maps.stops[near]
        self._ways = [_across(lamp, foot) for lamp in lamps]
        count = len(lamps)
        self._values = np.concatenate([foot, np.zeros(2 * count), [USUAL] * count])
        wide = [[FOOT_MM] * 2, [ACROSS_MM] * (2 * count), [SHARE] * count]
        self._sigmas = np.concatenate(wide)
        self._foot = foot
        self.usable = len(self._stops) > 60
        self.gain = 0.0
        self._covariance = np.diag(self._sigmas**2)

    def _body(self, x: Doubles, y: Doubles, foot: Doubles) -> Booleans:
        """Return which places the pin itself stands before, as the lens sees it."""
        lens, pin = self._seen.lens_mm, self._pin
        top = (foot - lens[:2]) * pin.height_mm / max(lens[2] - pin.height_mm, 1.0)
        length2 = max(float(top @ top), 1e-9)
        share = ((x - foot[0]) * top[0] + (y - foot[1]) * top[1]) / length2
        share = np.clip(share, 0.0, 1.0)
        away = np.hypot(x - foot[0] - share * top[0], y - foot[1] - share * top[1])
        return np.asarray(away < 0.7 * pin.thick_mm + 1.5 * self._soft)

    def _model(self, values: Doubles) -> Doubles:
        steps = [
            values[2 + 2 * i] * a + values[3 + 2 * i] * b for i, (a, b) in enumerate(self._ways)
        ]
        direct = np.clip(values[2 + 2 * len(self._lamps) :], 0.0, 1.2)
        return _shadow(
            self._points,
            values[:2],
            self._lamps,
            steps,
            direct.tolist(),
            self._seen.shares,
            self._pin,
            self._soft,
        )

    def solved(self) -> _PinFit:
        """Step to the best agreement; smooth light is taken off by a curved plane."""
        x, y = (self._points - self._foot).T / self._pin.height_mm
        plane = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
        basis, _ = np.linalg.qr(plane)

        def rest(stops: Doubles) -> Doubles:
            return np.asarray(stops - basis @ (basis.T @ stops))

        start, values = self._values.copy(), self._values
        data = rest(self._stops)
        spread = max(0.004, 1.4826 * float(np.median(np.abs(data))))
        prior = np.diag(1 / self._sigmas**2)
        normal = prior
        for turn in range(ROUNDS):
            model = rest(self._model(values))
            away = data - model
            if turn:
                spread = max(0.004, 1.4826 * float(np.median(np.abs(away))))
            robust = 1 / (1 + (away / (3 * spread)) ** 2)
            weight = robust / (TOGETHER * spread**2)
            slopes = np.stack([rest(s) for s in self._slopes(values)], axis=1)
            normal = slopes.T @ (slopes * weight[:, None]) + prior
            pull = slopes.T @ (weight * away) - prior @ (values - start)
            step = np.linalg.solve(normal, pull)
            values = values + np.clip(step, -0.7 * self._sigmas, 0.7 * self._sigmas)
        self._values, self._covariance = values, np.linalg.inv(normal)
        away = data - rest(self._model(values))
        self.gain = float((_heavy(data / spread) - _heavy(away / spread)).sum() / TOGETHER)
        return self

    def _slopes(self, values: Doubles) -> list[Doubles]:
        found = []
        for i, sigma in enumerate(self._sigmas):
            step = np.zeros(len(values))
            step[i] = 0.03 * sigma
            found.append((self._model(values + step) - self._model(values - step)) / (2 * step[i]))
        return found

    def found(self) -> PinFound:
        """Return what the shadows tell of the lamps that throw them."""
        count = len(self._lamps)
        errors = np.sqrt(np.diag(self._covariance))
        direct = self._values[2 + 2 * count :]
        told = [
            i
            for i in range(count)
            if errors[2 + 2 * i] < LEAST_TOLD * ACROSS_MM and direct[i] > LEAST_DIRECT
        ]
        axes = ("x_mm", "y_mm", "z_mm")
        names = tuple((self._lamps[i].name, axis) for i in told for axis in axes)
        rows = np.zeros((len(told), 3 * len(told)))
        for k, i in enumerate(told):
            rows[k, 3 * k : 3 * k + 3] = self._ways[i][0]
        at = [2 + 2 * i for i in told]
        # what was expected before is no measurement: taken out of the covariance again
        block = np.linalg.inv(self._covariance[np.ix_(at, at)]) - np.eye(len(at)) / ACROSS_MM**2
        data = np.linalg.pinv(block + np.eye(len(at)) * 1e-8)
        far = [np.linalg.norm(self._lamps[i].placement.position_mm) for i in told]
        own = (np.array(far) / 1000 * OWN_MM_PER_M) ** 2
        measured = data @ (block @ self._values[at] + self._values[at] / ACROSS_MM**2)
        covariance = np.asarray(data + np.diag(own), float)
        sigmas = np.sqrt(np.diag(covariance))
        foot = (float(self._values[0]), float(self._values[1]))
        of = {self._lamps[i].name: float(v) for i, v in zip(told, sigmas, strict=True)}
        return PinFound(foot, Known(names, rows, measured, covariance), of)


def _heavy(away: Doubles) -> Doubles:
    return np.asarray(9.0 * np.log1p((away / 3.0) ** 2))


def _across(lamp: Lamp, foot: Doubles) -> tuple[Doubles, Doubles]:
    """Return the two unit vectors across the line from a pin's foot to a lamp: level, and up."""
    way = np.asarray(lamp.placement.position_mm, float) - np.append(foot, 0.0)
    way = way / np.linalg.norm(way)
    level = np.array([-way[1], way[0], 0.0])
    size = np.linalg.norm(level)
    level = level / size if size > 1e-6 else np.array([1.0, 0.0, 0.0])
    return level, np.asarray(np.cross(way, level))
