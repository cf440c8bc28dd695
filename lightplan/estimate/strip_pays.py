"""Where a strip of foil would tell what a photograph leaves open, and how surely it would.

A strip is thought to lie on each side of the sheet in turn, leading away from it. What it would
mirror there, and what a step of the doubted thing would change in that, is asked of the light
engine; what that adds to the fit says what would be left uncertain.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from lightplan.errors import RigError
from lightplan.estimate.cell_levels import CellLevels, CellLight, to_stops
from lightplan.estimate.fit import Columns
from lightplan.estimate.light_store import SLOPED
from lightplan.estimate.seen import SeenSheet
from lightplan.estimate.strip import (
    AXES,
    LEAN_DEG,
    Strip,
    as_beside,
    lean_columns,
    lens_ways,
    of_strip,
    rig_of_strip,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from lightplan.arrays import Booleans, Doubles
    from lightplan.estimate.hypothesis import Hypothesis
    from lightplan.estimate.search import FitSearch
    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig, Shell

Side = Literal["left", "right", "far", "near"]
FROM_EDGE_MM, LONG_MM, WIDE_MM, CELL_MM = 33.0, 168.0, 12.0, 6.0
"""Where the foil of a printed slip begins beside the sheet, its length and width, and its cells."""
NOISE = 0.01  # stops: of a cell's mean
STEPS = {"mm": 10.0, "deg": 1.5}


def strips_beside(rig: Rig) -> Iterator[tuple[Side, Strip]]:
    """Yield strips on the sheet's four sides, leading away; their levels are not known yet.

    Under a cone or tent only those that lie within its foot: what is outside it is not seen.
    """
    wide, high = rig.sheet.width_mm / 2, rig.sheet.height_mm / 2
    out = FROM_EDGE_MM + LONG_MM / 2
    sides: tuple[tuple[Side, Strip], ...] = (
        ("left", _unseen((-wide - out, 0.0), LONG_MM, WIDE_MM)),
        ("right", _unseen((wide + out, 0.0), LONG_MM, WIDE_MM)),
        ("far", _unseen((0.0, high + out), WIDE_MM, LONG_MM)),
        ("near", _unseen((0.0, -high - out), WIDE_MM, LONG_MM)),
    )
    yield from (one for one in sides if all(_within(shell, one[1]) for shell in rig.shells))


def _within(shell: Shell, strip: Strip) -> bool:
    x, y = np.subtract(strip.middle_mm, shell.centre_mm[:2])
    across, along = abs(x) + strip.width_mm / 2, abs(y) + strip.height_mm / 2
    if shell.shape == "cone":
        return math.hypot(across, along) < shell.foot_width_mm / 2
    return bool(across < shell.foot_width_mm / 2 and along < shell.foot_depth_mm / 2)


def _unseen(middle: tuple[float, float], wide: float, high: float) -> Strip:
    count = round(LONG_MM / CELL_MM)
    counts = (1, count) if wide < high else (count, 1)
    sides = zip(counts, (wide, high), strict=True)
    x, y = (((np.arange(n) + 0.5) / n - 0.5) * side for n, side in sides)
    across, along = (a.ravel() for a in np.meshgrid(x, y))
    ones = np.ones((len(across), 3))
    seen = SeenSheet(
        stops=-2 * ones,
        noise=NOISE * ones,
        ended=ones < 0,
        is_foil=ones[:, 0] > 0,
        purity=ones[:, 0],
        x_mm=across,
        y_mm=along,
        spread_mm=CELL_MM / 2,
        radius2=0.5 * ones[:, 0],
    )
    return Strip(seen, middle, wide, high)


def added_by_strips(
    search: FitSearch, best: Hypothesis, names: Sequence[Name], elements: set[str]
) -> dict[Side, Doubles]:
    """Return what a strip on each side would add to the normal matrix of a fit, by side.

    Parameters
    ----------
    search : Search
    best : Hypothesis
        What the photograph is explained by.
    names : sequence of (element, dimension)
        Of the matrix.
    elements : set of str
        Things that are let go; all else but lamps' powers and the lens is held.
    """
    found = {}
    for side, strip in strips_beside(search.rig):
        try:
            found[side] = _added(search, best, names, elements, strip)
        except RigError:  # something stands there
            continue
    return found


def _added(
    search: FitSearch, best: Hypothesis, names: Sequence[Name], elements: set[str], strip: Strip
) -> Doubles:
    rig = rig_of_strip(search.rig, strip)
    levels, values = CellLevels(rig, strip.seen), of_strip(best.values)
    moved = [n for n in names if n[0] in (*elements, "camera") and n[1] in SLOPED]
    steps: dict[Name, float] = {n: STEPS[n[1].rpartition("_")[2]] for n in moved}
    groups = list(_together(moved, {lamp.name for lamp in rig.lamps}))
    levels.look_ahead([values, *(_stepped(values, steps, group) for group in groups)])
    there = levels.light_of(values)
    if there is None:
        return np.zeros((len(names), len(names)))
    powers = {n[0]: v for n, v in values.items() if n[1] == "power_stops"}
    light = there.mixed(powers, levels.room)
    clip = search.fitter.clip_cd_m2
    exposure = best.fitted.exposure
    slopes: dict[Name, Doubles] = {}
    for group in groups:
        for name, one in _each(levels, there, values, steps, group):
            off = one.mixed(powers, levels.room)
            slopes[name] = (to_stops(off, clip) - to_stops(light, clip)) / steps[name]
    columns = search.power_columns(there, values).joined(
        Columns.of(moved, np.stack([slopes[n] for n in moved], axis=-1), [1.0] * len(moved))
    )
    stops = to_stops(light * 2.0**exposure, clip)
    seen = replace(strip.seen, stops=np.minimum(stops, 0.0), ended=stops >= 0)
    ways = lens_ways(np.asarray(rig.camera.placement.position_mm, float))
    whole = columns.joined(lean_columns(columns, ways)) if _has_lens(moved) else columns
    fitter = replace(as_beside(search.fitter, seen), place=None, known=())
    system = fitter.system(light, whole, exposure)
    return _on(names, system.names, system.rows, system.weight / system.spread**2, system.ended)


def _together(names: Sequence[Name], lamps: set[str]) -> Iterator[tuple[Name, ...]]:
    """Yield dimensions that are stepped in one rig: the same one of several lamps.

    The light of each lamp is worked out by itself, and what one throws hardly hangs on where
    the body of another stands.
    """
    yield from ((name,) for name in names if name[0] not in lamps)
    of_lamps = [name for name in names if name[0] in lamps]
    for dimension in dict.fromkeys(d for _, d in of_lamps):
        yield tuple(name for name in of_lamps if name[1] == dimension)


def _stepped(
    values: Mapping[Name, float], steps: Mapping[Name, float], group: Sequence[Name]
) -> dict[Name, float]:
    return {**values, **{n: values.get(n, 0.0) + steps[n] for n in group}}


def _each(
    levels: CellLevels,
    there: CellLight,
    values: Mapping[Name, float],
    steps: Mapping[Name, float],
    group: tuple[Name, ...],
) -> Iterator[tuple[Name, CellLight]]:
    """Yield the light with each of a group stepped by itself; as it was where that cannot be."""
    found = levels.light_of(_stepped(values, steps, group))
    if len(group) == 1:
        yield group[0], there if found is None else found
    elif found is None:  # one of them cannot be
        for name in group:
            yield from _each(levels, there, values, steps, (name,))
    else:
        for name in group:
            light, i = there.light.copy(), there.names.index(name[0])
            light[i] = found.light[i]
            yield name, CellLight(there.names, light)


def _has_lens(names: Sequence[Name]) -> bool:
    return all(("camera", axis) in names for axis in AXES)


def _on(
    names: Sequence[Name], own: Sequence[Name], rows: Doubles, precision: Doubles, ended: Booleans
) -> Doubles:
    """Return the normal matrix of data on given names; what is not among them is let go."""
    precision = np.where(ended, 0.0, precision)
    normal = (rows.T * precision) @ rows
    kept = [i for i, n in enumerate(own) if n in names]
    free = [i for i, n in enumerate(own) if n not in names]
    block = normal[np.ix_(kept, kept)]
    if free:
        inner = normal[np.ix_(free, free)] + np.diag([1 / LEAN_DEG**2] * len(free))
        cross = normal[np.ix_(free, kept)]
        block = block - cross.T @ np.linalg.solve(inner, cross)
    place = [names.index(own[i]) for i in kept]
    found = np.zeros((len(names), len(names)))
    found[np.ix_(place, place)] = block
    return found
