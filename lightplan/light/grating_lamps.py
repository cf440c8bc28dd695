"""Lamps as a grating shows them, point by point.

A lamp that is small beside the lobes is wholly looked at so, where rays would often miss it.
A large one is where the lobes see it in their flanks only.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from lightplan.arrays import smooth_step
from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import Flat, Samples
from lightplan.light.compiled import grating_spots
from lightplan.light.grating_orders import LONGEST_NM, ORDERS, SHORTEST_NM, colours, wavelengths_nm
from lightplan.light.kept import Kept, Moves
from lightplan.light.lobes import COARSE, FINE_ENOUGH
from lightplan.light.targets import gauss_points
from lightplan.light.visibility import Visibility

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import ArrayLike

    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.light.detail import Detail
    from lightplan.light.emission import LampFace
    from lightplan.light.mirrors import Mirrors
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.sheet import Grating
    from lightplan.scene.surfaces import Surface

LAMP_POINTS = 14
MOST_SHARE = 8  # most points on a lamp over `Detail.foil_spots`, where its lobes need them
DENSE = 2.6  # width of the lobe over the gap of points close enough for all of it
FLANK_WAVELENGTHS = 17  # to find how far out in the lobes a lamp lies
LEAST_WAVELENGTHS, MOST_WAVELENGTHS = 34, 233


class GratingLamp(Kept):
    """One lamp, its luminance by way of the grating kept current while things move.

    Parameters
    ----------
    detail : Detail
        Its `foil_spots` are the usual points on a lamp, its `hidden_spots` those for the
        shadow where part of a lamp is hidden.
    """

    def __init__(
        self, mirrors: Mirrors, curve: SpecularCurve, grating: Grating, detail: Detail
    ) -> None:
        self._mirrors, self._curve, self._grating = mirrors, curve, grating
        self._most, self._closer = detail.foil_spots, detail.hidden_spots
        self._sight = Visibility()
        self._free: Booleans | None = None
        self._sums: tuple[_Sums | None, _Sums | None] = (None, None)

    def renumber(self, moves: Moves) -> None:
        """Count surfaces anew."""
        self._sight.renumber(moves)

    def update(self, lamp: LampFace, surfaces: Sequence[Surface], changed: frozenset[int]) -> None:
        """Work out `unit`, the luminance (n, 3) of every spot for unit luminance of the lamp.

        It holds the `share` (n,) of the lamp that points stand for; rays have the rest.
        """
        known = None if lamp.surface in changed else self._free
        if known is None:
            self._sums = (None, None)
            self._spread(lamp)
        free = _free(self._sight, lamp, self._spots, self._mirrors, surfaces, changed)
        mixed = np.flatnonzero((self.share > 0) & free.any(axis=1) & ~free.all(axis=1))
        closer = bool(self._closer and mixed.size)
        if known is not None and not closer and np.array_equal(known, free):
            return
        self._free = free
        self.unit = np.zeros((len(free), 3), np.float32)
        seen = (self.share > 0) & free.any(axis=1)
        whole, cut = self._sums
        if closer:
            # an edge across the lamp: its points are looked at anew, so many that it is followed
            many = lamp.shape.sample(max(self._closer, len(self._spots.points)))
            seen[mixed] = False
            free_of_many = self._free_of(lamp, many, mixed, surfaces)
            cut = self._sum(lamp, many, mixed, free_of_many, cut)
            self.unit[mixed] = cut.sums
        rows = np.flatnonzero(seen)
        if rows.size:
            whole = self._sum(lamp, self._spots, rows, free[rows], whole)
            self.unit[rows] = whole.sums
        self._sums = whole, cut
        self.unit *= self.share[:, None]

    def _free_of(
        self, lamp: LampFace, spots: Samples, rows: Integers, surfaces: Sequence[Surface]
    ) -> Booleans:
        """Which of a lamp's points some spots see."""
        every = frozenset(range(len(surfaces)))
        return _free(Visibility(), lamp, spots, self._mirrors.some(rows), surfaces, every)

    def _spread(self, lamp: LampFace) -> None:
        """Choose as few points as follow the lobes at every spot, or as many as may be."""
        for count in _counts(lamp, min(self._mirrors.roughness), self._most):
            self._spots, spacing = gauss_points(lamp.shape, count)
            self.share = _resolved(self._mirrors, self._spots, spacing, self._grating)
            if self.share.min() == 1:
                break

    def _sum(
        self, lamp: LampFace, spots: Samples, rows: Integers, free: Booleans, known: _Sums | None
    ) -> _Sums:
        """Return what some spots show of a lamp's points, of which `known` is not summed again."""
        mirrors = self._mirrors.some(rows)
        view = mirrors.to_local(mirrors.views[:, None])[:, 0]
        counts = self._wavelengths(view[:, 2:] + _up(mirrors, spots))
        sums, due = np.zeros((len(rows), 3), np.float32), np.ones(len(rows), bool)
        if known is not None and np.array_equal(known.counts, counts):
            before = np.full(len(self._mirrors.points), -1)
            before[known.rows] = np.arange(len(known.rows))
            place = before[rows]
            due = (place < 0) | (free != known.free[place]).any(axis=1)
            sums[~due] = known.sums[place[~due]]
        if due.any():
            sums[due] = self._shown(lamp, spots, rows[due], free[due], counts)
        return _Sums(rows, free, counts, sums)

    def _shown(
        self, lamp: LampFace, spots: Samples, rows: Integers, free: Booleans, counts: Integers
    ) -> Singles:
        """Luminance (k, 3) of some spots for unit luminance of a lamp's points, those free.

        `counts` (m,) wavelengths are summed of each point.
        """
        mirrors, grating = self._mirrors.some(rows), self._grating
        view = mirrors.to_local(mirrors.views[:, None])[:, 0]
        total = np.zeros((len(rows), 3), np.float32)
        gains = np.zeros((0, 0), np.float32)
        if lamp.profile is not None:
            gains = lamp.profile_factor(mirrors.points, spots.points, spots.normals)
        across = grating.direction_rad - turn(mirrors)
        orders = np.array(list(ORDERS)) * grating.lines_per_mm
        frames = np.stack([mirrors.tangents, mirrors.others, mirrors.normals], axis=1)
        for count in np.unique(counts):
            some = np.flatnonzero(counts == count)
            wavelengths, colour = colours(int(count))
            grating_spots.from_spots(
                np.ascontiguousarray(mirrors.points, np.float64),
                _single(frames),
                _single(view),
                np.ascontiguousarray(spots.points[some], np.float64),
                np.ascontiguousarray(spots.normals[some], np.float64),
                np.ascontiguousarray(spots.areas[some], np.float64),
                np.ascontiguousarray(free[:, some]),
                np.ascontiguousarray(gains[:, some] if gains.size else gains),
                _single(mirrors.roughness),
                _single((math.cos(across), math.sin(across))),
                _single(np.outer(orders, wavelengths * 1e-6)),
                _single([*ORDERS.values()]),
                _single(colour.T),
                total,
            )
        total *= np.float32(grating.strength) * _whole(lamp, spots, mirrors.points)
        return np.asarray(total * self._curve.evaluate(view[:, 2]), np.float32)

    def _wavelengths(self, both: Singles) -> Integers:
        """Return how many wavelengths are close enough for the blur, for each point of a lamp.

        both (n, m) are the sums of the upright parts of the ways from n spots to the viewer and
        to m points.
        """
        blur = 0.4 * min(self._mirrors.roughness) * np.median(both, axis=0)
        span = (LONGEST_NM - SHORTEST_NM) * 1e-6 * self._grating.lines_per_mm
        wanted = np.divide(span, blur, out=np.zeros(len(blur)), where=blur > 0)
        return np.asarray(np.clip(wanted, LEAST_WAVELENGTHS, MOST_WAVELENGTHS), int)


class _Sums(NamedTuple):
    """What k spots show of m points of a lamp, (k, 3), and what that hangs on.

    Spots are `rows` (k,), `free` (k, m) the points that each sees, `counts` (m,) the wavelengths
    that are summed of each.
    """

    rows: Integers
    free: Booleans
    counts: Integers
    sums: Singles


def _whole(lamp: LampFace, spots: Samples, points: Doubles) -> Singles:
    """Return the area (n, 1) that places see of a ball over what its points make of it.

    Few points all round it add up to some per cent more or less, by the side they are seen from.
    """
    shape = lamp.shape
    if isinstance(shape, Flat):
        return np.ones((1, 1), np.float32)
    way = np.asarray(points) - np.asarray(shape.centre)
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    seen = np.maximum(way @ spots.normals.T, 0.0) @ spots.areas
    return np.asarray(math.pi * shape.radius**2 / seen[:, None], np.float32)


def _up(mirrors: Mirrors, spots: Samples) -> Singles:
    """Return the upright parts (n, m) of the ways from n mirrors to m spots, in their frames."""
    rise = mirrors.normals @ spots.points.T
    rise -= np.sum(mirrors.points * mirrors.normals, axis=1)[:, None]
    squared = np.sum(mirrors.points**2, axis=1)[:, None] + np.sum(spots.points**2, axis=1)
    squared -= 2.0 * (mirrors.points @ spots.points.T)
    return np.asarray(rise / np.sqrt(np.maximum(squared, 1.0)), np.float32)


def _counts(lamp: LampFace, roughness: float, usual: int) -> list[int]:
    """Return numbers of points to try on a lamp: for lobes far off, usual ones, and all of it."""
    shape = lamp.shape
    assert isinstance(shape, Flat | Ball)
    lobe_mm = 2 * roughness * max(math.hypot(*shape.centre), 1.0)  # mirroring doubles angles
    if isinstance(shape, Flat):
        sides = (2 * shape.half_width, 2 * shape.half_height)
    else:
        sides = (2 * shape.radius, 2 * shape.radius)
    # a strip is as long as it is: points close enough along each side, three at the least
    dense = math.prod(max(3, math.ceil(side * DENSE / lobe_mm)) for side in sides)
    tried = [LAMP_POINTS, usual, min(dense, MOST_SHARE * usual)]
    return sorted({max(count, LAMP_POINTS) for count in tried if count <= max(dense, LAMP_POINTS)})


def _resolved(mirrors: Mirrors, spots: Samples, spacing_mm: float, grating: Grating) -> Singles:
    """Share (n,) of a lamp that points on it stand for: 1 where they follow the lobes.

    As with a plain mirror; the lobe is that of the order and wavelength that comes closest.
    """
    narrow = min(mirrors.roughness)
    nearest = np.linalg.norm(spots.points[None] - mirrors.points[:, None], axis=2).min(axis=1)
    spacing = 0.5 * spacing_mm / nearest
    if (COARSE * spacing <= narrow).all():
        return np.ones(len(nearest), np.float32)
    kicks, step = _coarse_kicks(grating)
    off = np.full(len(nearest), np.inf, np.float32)
    for point in spots.points:
        tilt = _tilt(mirrors, point - mirrors.points, kicks, grating.direction_rad)
        np.minimum(off, tilt.min(axis=1), out=off)
    off = np.maximum(off - 0.5 * (spacing + 0.5 * step) / narrow, 0.0)
    ratio = narrow * np.sqrt(1 + off * off) / spacing
    return np.asarray(smooth_step(ratio, COARSE, FINE_ENOUGH), np.float32)


def _coarse_kicks(grating: Grating) -> tuple[Singles, float]:
    """Shifts of the direction by some wavelengths in every order, and their greatest gap."""
    wavelengths = wavelengths_nm(FLANK_WAVELENGTHS) * 1e-6 * grating.lines_per_mm
    kicks = np.outer(np.array(list(ORDERS)), wavelengths).ravel().astype(np.float32)
    return kicks, max(ORDERS) * float(wavelengths[1] - wavelengths[0])


def _tilt(mirrors: Mirrors, way: Doubles, kicks: Singles, direction_rad: float) -> Singles:
    """How far out in the lobe (n, kicks) the facets lie that send light on, in roughnesses."""
    light = way / np.linalg.norm(way, axis=1, keepdims=True)
    both = mirrors.to_local((mirrors.views + light)[:, None])[:, 0]
    across = direction_rad - turn(mirrors)
    ax, ay = (np.float32(a) for a in mirrors.roughness)
    x = (both[:, :1] - kicks * np.float32(math.cos(across))) / ax
    y = (both[:, 1:2] - kicks * np.float32(math.sin(across))) / ay
    return np.asarray(np.sqrt(x * x + y * y) / np.maximum(both[:, 2:], np.float32(1e-3)))


def _free(
    sight: Visibility,
    lamp: LampFace,
    spots: Samples,
    mirrors: Mirrors,
    surfaces: Sequence[Surface],
    changed: frozenset[int],
) -> Booleans:
    owners = np.full(len(spots.points), lamp.surface)
    return sight.update(surfaces, changed, mirrors.points, mirrors.owners, spots.points, owners)


def _single(values: ArrayLike) -> Singles:
    return np.ascontiguousarray(values, np.float32)


def turn(mirrors: Mirrors) -> float:
    """Direction on the sheet of the spots' first axis."""
    return float(np.arctan2(mirrors.tangents[0, 1], mirrors.tangents[0, 0]))
