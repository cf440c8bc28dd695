"""Light that goes from a lamp by way of one rough mirror to given points.

Of a narrow lobe too few rays find a lamp, and fixed points on the mirror miss the place that
mirrors it. So point and lamp are joined over the places of the mirror where the facets for it
are likely: see `light.compiled.glints`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.geometry.ball import Ball
from lightplan.geometry.shapes import TOUCH_MM, Flat
from lightplan.light.compiled import glint_loops as compiled
from lightplan.light.compiled import sight
from lightplan.light.known_ways import JoinedBy
from lightplan.light.packed import Packed

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.arrays import Booleans, Doubles, Integers, Singles
    from lightplan.light.coat import Entering
    from lightplan.light.emission import LampFace
    from lightplan.light.known_ways import KnownWays
    from lightplan.optics.specular import SpecularCurve
    from lightplan.scene.surfaces import Surface

FLAT = (0.0, 1.0, 0.0, 1.0)  # a bow of no height
# The first look of `glints_by_need`: points at the most, boxes along the longest side of what they
# fill, and what keeps its numbers apart from the points' own.
LOOKED_AT, BOXES, APART = 40_000, 24, 1_000_003
CLOSE_BOXES = 8  # along the longest side of the box round all: points in one are close
FAINT = 0.05  # of what a lamp brings to the brightest point: such points are not looked at again


@dataclass(frozen=True, eq=False)
class Receivers:
    """n points that light comes to.

    Parameters
    ----------
    points : (n, 3) float
    frames : (n, 3, 3) float
        Rows tangent, other, normal.
    numbers : (n,) int
        Points of the same number draw the same places.
    views : (n, 3) float or None
        If they mirror: directions to the viewer, in these frames.
    roughness : (2,) float
    curve : SpecularCurve or None
    enters : callable or None
        If they are matte: share of the light that they let in, by its cosine.
    """

    points: Doubles
    frames: Doubles
    numbers: Integers
    views: Doubles | None = None
    roughness: tuple[float, float] = (0.0, 0.0)
    curve: SpecularCurve | None = None
    enters: Entering | None = None

    def some(self, rows: Integers) -> Receivers:
        """Return some of the points, which draw what they draw among all."""
        views = None if self.views is None else self.views[rows]
        own = (self.points[rows], self.frames[rows], self.numbers[rows])
        return Receivers(*own, views, self.roughness, self.curve, self.enters)


@dataclass(frozen=True, eq=False)
class Between:
    """The mirror that light goes by.

    Parameters
    ----------
    surface : int
        A flat one.
    is_front : bool
    curve : SpecularCurve
    roughness : (2,) float
        GGX alpha along `tangent` and across it.
    tangent : (3,) float or None
    bow : (4,) float
        Of its front: height in mm, cosine and sine of its direction, half its length in mm.
    """

    surface: int
    is_front: bool
    curve: SpecularCurve
    roughness: tuple[float, float]
    tangent: Doubles | None = None
    bow: tuple[float, float, float, float] = FLAT


def glints(
    receivers: Receivers,
    mirror: Between,
    surfaces: Sequence[Surface],
    lamps: Sequence[LampFace],
    drawn: int,
    finer: Integers | int = 0,
    known: KnownWays | None = None,
) -> Singles:
    """Return what lamps of luminance 1 bring to points by way of a mirror, (3, n, lamps).

    To mirrors: the luminance that they show their viewers. To matte points: that of white.
    `drawn` places are drawn in each of two ways, and `finer` (of all, or (n,)) instead for points
    to which they bring much, and for their neighbours, which may have missed it; 0 leaves that
    step out. Ways that are `known` are not looked for again.
    """
    more = np.broadcast_to(finer, len(receivers.points))
    total = np.zeros((3, len(receivers.points), len(lamps)), np.float32)
    for index, lamp in enumerate(lamps):
        found = _from_lamp(receivers, mirror, surfaces, lamp, drawn, None, known)
        if more.any():
            much = found.max(axis=0)
            bright = _beside(receivers.points, much > FAINT * much.max(initial=0.0))
            for count in np.unique(more[bright]).tolist():
                rows = bright[more[bright] == count]
                again = _from_lamp(receivers, mirror, surfaces, lamp, count, rows, known)
                found[:, rows] = again[:, rows]
        total[:, :, index] = found
    return total


def glints_by_need(
    receivers: Receivers,
    mirror: Between,
    surfaces: Sequence[Surface],
    lamps: Sequence[LampFace],
    drawn: int,
    most: int,
) -> Singles:
    """Return the same as `glints`; places are drawn where lamps bring much.

    `drawn` for a point in the mean, 1 to `most`. How much they bring about a point is told by a
    first look that is then thrown away: chosen by what they bring to it in the end, points with
    luck would count, and others not.
    """
    n = len(receivers.points)
    total = np.zeros((3, n, len(lamps)), np.float32)
    step = max(1, n // LOOKED_AT)
    first = np.arange(0, n, step)
    apart = replace(receivers.some(first), numbers=receivers.numbers[first] + APART)
    for index, lamp in enumerate(lamps):
        tried = _from_lamp(apart, mirror, surfaces, lamp, 1).sum(axis=0)
        counts = _needed(receivers.points, first, tried, drawn, most)
        for count in np.unique(counts):
            rows = np.flatnonzero(counts == count)
            some = receivers.some(rows)
            total[:, rows, index] = _from_lamp(some, mirror, surfaces, lamp, int(count))
    return total


def _beside(points: Doubles, bright: Booleans) -> Integers:
    """Return which points are bright, or lie close to such a one."""
    if bright.all() or not bright.any():
        return np.flatnonzero(bright)
    cells = _cells(points, CLOSE_BOXES)
    return np.flatnonzero(np.bincount(cells, bright)[cells] > 0)


def _needed(points: Doubles, first: Integers, tried: Singles, drawn: int, most: int) -> Integers:
    """Return how many places each point draws, powers of 2, by what neighbours (first,) got."""
    cells = _cells(points)
    mean_square = np.bincount(cells[first], tried.astype(float) ** 2, cells.max(initial=0) + 1)
    known = np.bincount(cells[first], minlength=len(mean_square))
    size = np.sqrt(mean_square / np.maximum(known, 1))[cells]
    if not size.any():
        return np.ones(len(points), int)
    wanted = np.clip(drawn * size / size.mean(), 1.0, most)
    return np.asarray(2 ** np.rint(np.log2(wanted)), int)


def _cells(points: Doubles, boxes: int = BOXES) -> Integers:
    """Return in which of the cubes along each side of the one round all each point lies."""
    low, high = points.min(axis=0), points.max(axis=0)
    place = (points - low) / max(float((high - low).max()), 1e-9) * (boxes - 1e-6)
    at = place.astype(int)
    found = np.unique(at @ [boxes * boxes, boxes, 1], return_inverse=True)[1]
    return np.asarray(found.reshape(-1))


def _from_lamp(
    receivers: Receivers,
    mirror: Between,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    drawn: int,
    rows: Integers | None = None,
    known: KnownWays | None = None,
) -> Singles:
    """Return what one lamp of luminance 1 brings to points, (3, n); only to some if so wanted."""
    n = len(receivers.points)
    ways, kept = ways_of_lamp(receivers, mirror, surfaces, lamp, drawn, rows, known)
    return np.array([np.bincount(ways.row, kept[channel], n) for channel in range(3)], np.float32)


def ways_of_lamp(
    receivers: Receivers,
    mirror: Between,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    drawn: int,
    rows: Integers | None = None,
    known: KnownWays | None = None,
) -> tuple[JoinedBy, Singles]:
    """Return m ways to points, and what a lamp of luminance 1 brings along each, (3, m)."""
    wanted = np.arange(len(receivers.points)) if rows is None else rows

    def look(some: Integers) -> JoinedBy:
        return _ways_to(receivers, some, mirror, surfaces, lamp, drawn)

    things = (surfaces[mirror.surface], surfaces[lamp.surface])
    ways = known_or_found(receivers, wanted, surfaces, lamp, (drawn, *things), look, known)
    return ways, kept_of(receivers, surfaces, lamp, ways, known)


def known_or_found(
    receivers: Receivers,
    rows: Integers,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    drawn_over: tuple[int, Surface, Surface],
    look: Callable[[Integers], JoinedBy],
    known: KnownWays | None,
) -> JoinedBy:
    """Return the ways to points of some rows: how many were drawn over which mirror and lamp."""
    if known is None:
        return look(rows)

    def free(ways: JoinedBy, some: frozenset[int]) -> Booleans:
        starts = receivers.points.take(ways.row, axis=0)
        return are_free(surfaces, lamp, starts, ways.places, ways.ends, some)

    drawn, *things = drawn_over
    points = (receivers.points, receivers.frames, receivers.numbers)
    return known.of((lamp.surface, drawn), tuple(things), points, rows, surfaces, look, free)


def kept_of(
    receivers: Receivers,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    ways: JoinedBy,
    known: KnownWays | None,
) -> Singles:
    """Return what a lamp of luminance 1 brings along ways (3, m), where nothing stands in them."""
    starts, apart = receivers.points.take(ways.row, axis=0), None if known is None else known.apart
    free = ways.clear & are_free(surfaces, lamp, starts, ways.places, ways.ends, apart)
    kept = ways.weight * free
    if receivers.enters is not None or lamp.profile is not None:
        kept *= let_through(receivers, lamp, ways.row, ways.places, ways.ends)
    return kept


def _ways_to(
    receivers: Receivers,
    rows: Integers,
    mirror: Between,
    surfaces: Sequence[Surface],
    lamp: LampFace,
    drawn: int,
) -> JoinedBy:
    """Return the ways to some of the points, whatever stands in them."""
    shape = surfaces[mirror.surface].shape
    assert isinstance(shape, Flat)
    some = receivers if len(rows) == len(receivers.points) else receivers.some(rows)
    row, places, ends, weight = _Joiner.of(some, mirror, shape).ways(
        some, mirror, shape, lamp, drawn
    )
    return JoinedBy.whole(rows[row], places, ends, weight)


@dataclass(frozen=True, eq=False)
class _Joiner:
    """Points as they lie before a mirror: in its frame, its facing side up."""

    axes: Doubles
    centre: Doubles
    points: Doubles
    frames: Doubles
    views: Doubles
    given: Doubles

    @classmethod
    def of(cls, receivers: Receivers, mirror: Between, shape: Flat) -> _Joiner:
        axes, centre = shape.frame, np.asarray(shape.centre, float)
        if not mirror.is_front:
            axes = axes * [1.0, 1.0, -1.0]
        views = receivers.views
        towards = np.array([1.0, 0.0, 0.0]) if mirror.tangent is None else mirror.tangent @ axes
        brush = towards[:2] / np.linalg.norm(towards[:2])
        return cls(
            axes=axes,
            centre=centre,
            points=np.ascontiguousarray((receivers.points - centre) @ axes, float),
            frames=np.ascontiguousarray(receivers.frames @ axes, float),
            views=np.zeros(receivers.points.shape) if views is None else np.asarray(views, float),
            given=np.array([*mirror.roughness, *brush, *mirror.bow]),
        )

    def ways(
        self, receivers: Receivers, mirror: Between, shape: Flat, lamp: LampFace, drawn: int
    ) -> tuple[Integers, Doubles, Doubles, Singles]:
        """Return whose m ways go where: row (m,), place and end (m, 3), weight (3, m)."""
        n, face = len(self.points), lamp.shape
        own = mirror.curve if receivers.curve is None else receivers.curve
        size = (1.0, 1.0) if isinstance(face, Ball) else (face.half_width, face.half_height)
        at, on_lamp = np.zeros((2, n, 2 * drawn, 3))
        weight = np.zeros((3, n, 2 * drawn), np.float32)
        compiled.glints(
            self.points,
            self.frames,
            self.views,
            np.array(receivers.roughness),
            *own.polarised,
            np.asarray(receivers.numbers, np.int64),
            self.given,
            *mirror.curve.polarised,
            np.array([shape.half_width, shape.half_height]),
            shape.is_round,
            np.array(shape.openings, float).reshape(-1, 3),
            _placed(face, self.centre, self.axes),
            np.array(size),
            isinstance(face, Flat) and face.is_round,
            face.radius if isinstance(face, Ball) else 0.0,
            drawn,
            at,
            on_lamp,
            weight,
        )
        row, col = np.nonzero(weight.any(axis=0))
        places, ends = (v[row, col] @ self.axes.T + self.centre for v in (at, on_lamp))
        return row, places, ends, weight[:, row, col]


def let_through(
    receivers: Receivers, lamp: LampFace, row: Integers, places: Doubles, ends: Doubles
) -> Singles:
    """Return the share (m,) of white light that matte points let in and that the lamp sends."""
    share = np.ones(len(row))
    if receivers.enters is not None:
        way = places - receivers.points[row]
        far = np.maximum(np.linalg.norm(way, axis=1), 1e-9)
        arrive = np.sum(way * receivers.frames[row, 2], axis=1) / far
        share = share * receivers.enters(arrive)
    if lamp.profile is not None:
        way = places - ends
        facing = np.ones(len(way)) if isinstance(lamp.shape, Ball) else way @ lamp.axes[2]
        share = share * lamp.towards(way, facing / np.linalg.norm(way, axis=1))
    return np.asarray(share, np.float32)


def _placed(face: Flat | Ball, centre: Doubles, axes: Doubles) -> Doubles:
    """Return a lamp's centre, right, up and facing direction in a mirror's frame, (4, 3)."""
    middle = (np.asarray(face.centre) - centre) @ axes
    if isinstance(face, Ball):
        return np.array([middle, *np.eye(3)])
    return np.array([middle, *(face.frame.T @ axes)])


def are_free(
    surfaces: Sequence[Surface],
    lamp: LampFace,
    starts: Doubles,
    places: Doubles,
    ends: Doubles,
    some: frozenset[int] | None = None,
) -> Booleans:
    """Return which ways (n,) from starts to places of a mirror and on to a lamp nothing cuts.

    Or none of `some` surfaces, where they are given.
    """
    scene = Packed.of(surfaces)
    free = np.ones(len(starts), bool)
    asked = [i for i in scene.occluders if some is None or i in some]
    flat = np.array([i for i in asked if scene.flat[i]], np.int64)
    bodies = [i for i in asked if not scene.flat[i]]
    for begin, end in ((starts, places), (places, ends)):
        sight.free_pairs(begin, end, flat, *scene.plates, TOUCH_MM, free)
        if not bodies:
            continue
        step = end - begin
        far = np.linalg.norm(step, axis=1)
        for index in bodies:
            if index == lamp.surface and end is ends:
                continue
            ways = (step / np.maximum(far, 1e-9)[:, None])[:, None].astype(np.float32)
            met = surfaces[index].shape.trace(begin[:, None].astype(np.float32), ways)
            free &= met.distance[:, 0] >= far - TOUCH_MM
    return free
