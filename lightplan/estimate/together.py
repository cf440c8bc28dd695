"""Several photographs of one set, fitted as one: the rig is shared, the camera's doings are not.

Each photograph has its own exposure, white balance, vignette and tone curve, its own place of the
lens where the camera was moved, and its own lamps: what it was taken for is that one is off, or
turned down. Which, is read from it. Light then has to agree with all of them at once, which tells
a lamp that is farther and brighter from one that is as planned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.cell_levels import CellLevels, CellLight
from lightplan.estimate.fit import Columns, Fitted, Fitter
from lightplan.estimate.hypothesis import COST_PER_SLIP
from lightplan.estimate.search import OFF
from lightplan.estimate.seen import seen_together
from lightplan.estimate.solving import joined
from lightplan.estimate.strip import LEANS, with_strip

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.fit import Place
    from lightplan.estimate.light_store import LightStore
    from lightplan.estimate.search import FitSearch
    from lightplan.estimate.solving import FitSystem, Name
    from lightplan.estimate.strip import Strip
    from lightplan.scene import Rig

AXES = ("x_mm", "y_mm", "z_mm")
CAMERAS = "camera's"
STILL_SHARE = 0.002
"""Of a picture's long side: corners that differ by less are of a camera that stood still."""
TURNED = (-1.0, 1.0)
"""Stops by which a lamp is tried turned down or up in another photograph."""
KNOB_STOPS = 0.15
"""How surely a lamp turned by a whole stop has that: common practice, no source."""
MOST_LAMPS = 4
LOOSE_MM = 1e4


@dataclass(frozen=True, eq=False)
class FrameView:
    """Another photograph of the set.

    Attributes
    ----------
    fitter : Fitter
        Of the sheet in that photograph alone.
    moved : Place or None
        Its lens beside the first photograph's; None where the camera stood still.
    turned : dict
        Lamps that are off or turned in it, by how many stops.
    strip : Strip or None
        A strip of the sheet's own foil that is seen beside it in this one.
    """

    fitter: Fitter
    moved: Place | None
    turned: Mapping[str, float]
    strip: Strip | None = None

    @property
    def moved_mm(self) -> Doubles:
        """Its lens beside the first photograph's."""
        return np.zeros(3) if self.moved is None else self.moved.offset_mm

    def rig(self, rig: Rig) -> Rig:
        """Return a rig with the camera where it stood for this photograph."""
        if self.moved is None:
            return rig
        old = rig.camera.placement
        x, y, z = (float(v) for v in np.add(old.position_mm, self.moved_mm))
        return replace(
            rig, camera=replace(rig.camera, placement=replace(old, position_mm=(x, y, z)))
        )

    def data(self, rig: Rig, lights: LightStore | None) -> tuple[CellLevels, Fitter]:
        """Return the levels of rigs in its cells, the strip's too, and what fits rigs to it."""
        own = self.rig(rig)
        levels = CellLevels(own, self.fitter.seen, lights if self.moved is None else None)
        if self.strip is None:
            return levels, self.fitter
        return with_strip(own, levels, self.fitter, self.strip)


class LevelsOfSeveral(CellLevels):
    """Levels in the cells of several photographs, one after the other."""

    def __init__(
        self, rig: Rig, first: CellLevels, views: Sequence[FrameView], own: Sequence[CellLevels]
    ) -> None:
        self.planned, self._first, self._views = rig, first, tuple(views)
        self._own = tuple(own)

    def light(self, rig: Rig) -> CellLight:
        """Return the light of a rig with the planned one's lamps, cards and shells."""
        own = [o.light(v.rig(rig)) for v, o in zip(self._views, self._own, strict=True)]
        return self._side_by_side(self._first.light(rig), *own)

    def look_ahead(self, wanted: Sequence[Mapping[Name, float]]) -> None:
        """Work out the light of many rigs that are off the plan by some values."""
        for one in (self._first, *self._own):
            one.look_ahead(wanted)

    def light_of(self, values: Mapping[Name, float]) -> CellLight | None:
        """Return the light of the rig off the plan by some values; None where that cannot be."""
        first, *others = (one.light_of(values) for one in (self._first, *self._own))
        own = [one for one in others if one is not None]
        if first is None or len(own) < len(others):
            return None
        return self._side_by_side(first, *own)

    def mixing(self) -> Doubles:
        """Return how many stops brighter a cell's other material makes it, for all of it."""
        return np.concatenate([one.mixing() for one in (self._first, *self._own)])

    @property
    def room(self) -> Doubles:
        """The planned surroundings in units of what `CellLight` holds, (3,)."""
        return self._first.room

    @property
    def room_cd_m2(self) -> Doubles:
        """What one unit of surroundings is, (3,)."""
        return self._first.room_cd_m2

    @property
    def least_room(self) -> Doubles:
        """How far the surroundings can be below those planned, in their units, (3,), negative."""
        return self._first.least_room

    def _side_by_side(self, first: CellLight, *others: CellLight) -> CellLight:
        parts = [first.light]
        for view, own in zip(self._views, others, strict=True):
            parts.append(own.light * powers_in(view.turned, first.names)[:, None, None])
        return CellLight(first.names, np.concatenate(parts, axis=1))


def powers_in(turned: Mapping[str, float], names: Sequence[str]) -> Doubles:
    """Return by how much each light of a photograph is that of the first one."""
    return np.array([2.0 ** turned.get(name, 0.0) for name in names])


class FitterOfSeveral(Fitter):
    """Fits rigs to several photographs; everything else is asked of the first one."""

    def __init__(self, first: Fitter, views: Sequence[FrameView], own: Sequence[Fitter]) -> None:
        # frozen: what a fit asks of one photograph stands for the first of several
        for name, value in vars(first).items():
            object.__setattr__(self, name, value)
        object.__setattr__(self, "seen", seen_together([first.seen, *(one.seen for one in own)]))
        object.__setattr__(self, "_parts", (first, *own))
        object.__setattr__(self, "_views", tuple(views))

    _parts: tuple[Fitter, ...]
    _views: tuple[FrameView, ...]

    @property
    def count(self) -> int:
        """Photographs that it fits to."""
        return len(self._parts)

    def fit(self, light: Doubles, columns: Columns, start: float | None = None) -> Fitted:
        """Fit the cameras and small errors to light (n, 3) of a rig; see `Fitter.fit`."""
        pieces = list(self._pieces(light, columns))
        starts = [
            one.first_exposure(part) for one, (part, _) in zip(self._parts, pieces, strict=True)
        ]
        if start is not None:
            starts[0] = start
        found = self._at(pieces, starts)
        wanted = [found.values[own, "exposure"] for own in self._owns()]
        if max(abs(a - b) for a, b in zip(wanted, starts, strict=True)) > 0.05:
            found = self._at(pieces, wanted)
        return found

    def _owns(self) -> list[str]:
        return [camera_of(i) for i in range(len(self._parts))]

    def _pieces(self, light: Doubles, columns: Columns) -> Iterator[tuple[Doubles, Columns]]:
        begun = 0
        for i, one in enumerate(self._parts):
            cells = slice(begun, begun + len(one.seen))
            own = replace(columns, values=columns.values[cells])
            yield light[cells], own if i == 0 else self._own_columns(i, own)
            begun += len(one.seen)

    def _own_columns(self, number: int, columns: Columns) -> Columns:
        """Return columns with those that this photograph has beside the first one."""
        view, found = self._views[number - 1], columns
        if view.moved is not None:
            at = [
                columns.names.index(("camera", axis))
                for axis in AXES
                if ("camera", axis) in columns.names
            ]
            names = [(lens_of(number), columns.names[i][1]) for i in at]
            # its corners are a start and no more: the light tells it better, see the tests
            found = found.joined(Columns.of(names, columns.values[..., at], [LOOSE_MM] * len(at)))
        for lamp, stops in view.turned.items():
            name = (lamp, "power_stops")
            if stops > OFF and name in columns.names:
                i = columns.names.index(name)
                knob = Columns.of(
                    [(f"{lamp} in photograph {number + 1}", "power_stops")],
                    columns.values[..., i : i + 1],
                    [KNOB_STOPS],
                )
                found = found.joined(knob)
        return found

    def _at(self, pieces: Sequence[tuple[Doubles, Columns]], starts: Sequence[float]) -> Fitted:
        systems: list[FitSystem] = []
        for i, (one, (light, columns)) in enumerate(zip(self._parts, pieces, strict=True)):
            system = one.system(light, columns, starts[i])
            names = tuple(_own_name(i, name) for name in system.names)
            systems.append(replace(system, names=names))
        return self.fitted(joined(systems))


def fitted_together(
    rig: Rig, levels: CellLevels, fitter: Fitter, views: Sequence[FrameView]
) -> tuple[LevelsOfSeveral, FitterOfSeveral]:
    """Return levels and fitter of the first photograph and of others as one."""
    own = [view.data(rig, levels.lights) for view in views]
    return (
        LevelsOfSeveral(rig, levels, views, [one for one, _ in own]),
        FitterOfSeveral(fitter, views, [one for _, one in own]),
    )


def _own_name(number: int, name: Name) -> Name:
    """Return whose an unknown is: camera's doings and a strip's lean are each photograph's own."""
    if name[0] == CAMERAS:
        return camera_of(number), name[1]
    return (strip_of(number), name[1]) if name in LEANS else name


def strip_of(number: int) -> str:
    """Return whose lean is fitted; a strip may lie elsewhere in each photograph."""
    return LEANS[0][0] if number == 0 else f"strip in photograph {number + 1}"


def camera_of(number: int) -> str:
    """Return whose doings are fitted: those of the first photograph have the usual name."""
    return CAMERAS if number == 0 else f"photograph {number + 1}"


def lens_of(number: int) -> str:
    """Return the name of a lens that was moved beside the first photograph's."""
    return f"lens in photograph {number + 1}"


def stood_still(one: Doubles, other: Doubles, shape: tuple[int, int]) -> bool:
    """Whether the sheet's corners (4, 2) are so alike that the camera has not been moved."""
    return bool(np.abs(one - other).max() <= STILL_SHARE * max(shape))


def turned_in(
    search: FitSearch, values: Mapping[Name, float], levels: CellLevels, fitter: Fitter, rig: Rig
) -> dict[str, float]:
    """Return which lamps are off or turned in another photograph, by how many stops.

    Every set of lamps that are off is tried, and each lamp turned by a stop; what is as in the
    first photograph is a rival that costs nothing.

    Parameters
    ----------
    search : Search
        Of the first photograph.
    values : dict
        The set as that is explained.
    levels, fitter
        Of the other photograph.
    rig : Rig
        As built by the first photograph, the camera as it stood for the other.
    """
    light, lamps = levels.light(rig), [one.element for one in search.powers]
    best = np.inf
    found: dict[str, float] = {}
    for turned in _ways(lamps):
        stops = {name: v + values.get((name, "power_stops"), 0.0) for name, v in turned.items()}
        whole = light.mixed(stops, levels.room)
        columns = search.power_columns(light, {(n, "power_stops"): v for n, v in stops.items()})
        lens = search.hand.without({n for n in search.hand.names if n[0] != "camera"})
        nought = replace(lens, values=np.zeros((*whole.shape, len(lens.names))))
        fitted = fitter.fit(whole, columns.joined(nought))
        cost = fitted.cost + COST_PER_SLIP * len(turned)
        if cost < best:
            best, found = cost, turned
    return found


def _ways(lamps: Sequence[str]) -> Iterator[dict[str, float]]:
    yield {}
    if len(lamps) <= MOST_LAMPS:
        for count in range(1, len(lamps)):
            for some in combinations(lamps, count):
                yield dict.fromkeys(some, OFF)
    for lamp in lamps:
        for stops in TURNED:
            yield {lamp: stops}
