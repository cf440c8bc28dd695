"""The light engine as the planning's light model, at two levels of detail."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from lightplan.light import Detail, Engine
from lightplan.light.edge_on_grid import edge_on_grid
from lightplan.light.exposure import foil_share, settings_from
from lightplan.light.lattice import LEAST_SIDE, Lattice
from lightplan.light.rim import outline_of
from lightplan.measures.grid import Grid, Region
from lightplan.merit.light_model import LampLight

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats, Singles
    from lightplan.scene import Rig, Sheet

ENOUGH_FOIL_PIXELS = 250
"""Solid foil on the sheet's grid that makes the measures steady."""
ALIKE = 0.6
"""Share of the cells of either that two grids must have in common to be taken as alike. Our
choice: at 0.46 a search took a copper label for ink (metal 0.1) that a prediction has at 0.5."""
MOSTLY = 0.75
SCREENING_SPOTS = 16
_LONG_SIDES = (120, 160, 200, 240)
_SHARES: WeakKeyDictionary[Sheet, dict[tuple[int, ...], Singles]] = WeakKeyDictionary()
"""Artwork averaged over grids, by its sheet: a plan lays out many rigs of one sheet."""
_SIDES: WeakKeyDictionary[Sheet, int] = WeakKeyDictionary()


def long_side_for(rig: Rig) -> int:
    """Return the coarsest grid on which the artwork has enough foil, and the same as in the end.

    Where strokes are thin, other shapes count on a coarse grid than on that of a prediction,
    and a search would climb for a part of the artwork alone. Artwork that no coarse grid
    shows so has the coarsest with enough foil.
    """
    if rig.sheet not in _SIDES:
        _SIDES[rig.sheet] = _long_side(rig)
    return _SIDES[rig.sheet]


def _long_side(rig: Rig) -> int:
    final = set(_foil_region(rig, final_detail().sheet_long_side).cells.tolist())
    enough: list[int] = []
    for side in _LONG_SIDES:
        region = _foil_region(rig, side)
        if len(region.pixels) >= ENOUGH_FOIL_PIXELS:
            enough.append(side)
            cells = set(region.cells.tolist())
            if len(cells & final) >= ALIKE * len(cells | final):
                return side
    return enough[0] if enough else _LONG_SIDES[-1]


def _foil_region(rig: Rig, side: int) -> Region:
    share, sheet = _share(rig, side), rig.sheet
    valid = np.ones(share.shape, bool)
    return Grid.of(share, valid, width_mm=sheet.width_mm, height_mm=sheet.height_mm).foil


def _share(rig: Rig, side: int) -> Singles:
    sheet = rig.sheet
    step = max(sheet.width_mm, sheet.height_mm) / side
    cols, rows = max(4, round(sheet.width_mm / step)), max(4, round(sheet.height_mm / step))
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * sheet.width_mm
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * sheet.height_mm
    return _averaged(rig, x, y, blur_mm=step, key=(side,))


def _averaged(
    rig: Rig, x_mm: Doubles, y_mm: Doubles, *, blur_mm: float, key: tuple[int, ...]
) -> Singles:
    """Return the share of foil on a grid; worked out once for a sheet and a key."""
    known = _SHARES.setdefault(rig.sheet, {})
    if key not in known:
        known[key] = foil_share(rig, *np.meshgrid(x_mm, y_mm), blur_mm=blur_mm)
    return known[key]


def search_detail(rig: Rig, long_side: int) -> Detail:
    """Return the detail of the search: errors of a point of score or two.

    Edges of shadows on the paper are what a search finds the gaps of, so they are followed;
    a grating shows every lamp and card as a line, so it has as many points as a prediction. Other
    foil has the grid of quick light: of 16 plans, each with five builds four times as far off as
    hands are, scores were 1.8 points (root mean square) off those of a prediction, and 1.5 on the
    grid of a prediction, which takes a quarter longer; but for one of them 1.6 on both.
    """
    quick = Detail.quick(camera_rows=8, camera_cols=8)
    return replace(
        quick, sheet_long_side=long_side, cells=4, near=1.0, texels=16, direct_long_side=17,
        bounce_long_side=5, lamp_spots=13, cell_lamp_spots=5, penumbra_spots=144, sky_rays=13,
        cell_sky_rays=5, foil_rays=12_000, silver_times=1, foil_spots=_foil_spots(rig, 13),
        hidden_spots=0, steps_per_blur=_steps_per_blur(rig), mirror_rounds=0,
        rim_facings=8 if _is_mostly_edge(rig) else 0, rim_long_side=4,
    )  # fmt: skip


def screening_detail(rig: Rig, search: Detail) -> Detail:
    """Return the detail at which arrangements are ranked before any is searched.

    A wide lamp over a grating takes ten times as long as other light, and is a band so broad
    that a quarter of the points on it tells it from a line as well.
    """
    if rig.sheet.foil.grating is None:
        return search
    return replace(search, foil_spots=SCREENING_SPOTS)


def polish_detail(rig: Rig, long_side: int) -> Detail:
    """Return the detail of the last steps, on the grid of the search."""
    quick = Detail.quick(camera_rows=8, camera_cols=8)
    return replace(
        quick,
        sheet_long_side=long_side,
        penumbra_spots=144,
        steps_per_blur=Detail().steps_per_blur,
        foil_spots=_foil_spots(rig, quick.foil_spots),
        rim_facings=12 if _is_mostly_edge(rig) else 0,
        rim_long_side=5,
    )


def _is_mostly_edge(rig: Rig) -> bool:
    """Whether what one sees of the foil is its stamped edge, as with fine script."""
    if rig.sheet.foil.relief is None:
        return False
    return bool(outline_of(rig.sheet).share.sum() > MOSTLY * rig.sheet.artwork.sum())


def _steps_per_blur(rig: Rig) -> float:
    light = Detail.quick() if rig.sheet.foil.grating is None else Detail()
    return light.steps_per_blur


def _foil_spots(rig: Rig, plain: int) -> int:
    return plain if rig.sheet.foil.grating is None else Detail().foil_spots


def final_detail() -> Detail:
    """Return the detail at which a plan's score is stated: that of a prediction."""
    return Detail(camera_rows=8, camera_cols=8)


class EngineModel:
    """Light from `lightplan.light.Engine`.

    Parameters
    ----------
    rig : Rig
        Any rig of the sheet and artwork that will be asked about.
    detail : Detail
    """

    def __init__(self, rig: Rig, detail: Detail) -> None:
        self._detail = detail
        self._grid = Lattice.over(rig.sheet, detail.sheet_long_side, least=LEAST_SIDE)
        self._engine: Engine | None = None

    def lamp_light(self, rig: Rig) -> LampLight:
        """Return the light of each lamp."""
        found = self._ready(rig).per_lamp(rig)
        edged = None
        if found.rims:
            share = np.asarray(self.foil_share(rig), np.float32)
            edge = edge_on_grid(rig.sheet, self._grid.x_mm, self._grid.y_mm, found.rims[0])
            both = zip(found.foil, found.rims, strict=True)
            edged = np.array([edge.over(share, face, rim) for face, rim in both])
        return LampLight(found.names[:-1], found.paper, found.foil, edged)

    def foil_share(self, rig: Rig) -> Floats:
        """Return the artwork on the sheet's grid, (rows, cols)."""
        grid = self._grid
        step = float(grid.x_mm[1] - grid.x_mm[0])
        return _averaged(rig, grid.x_mm, grid.y_mm, blur_mm=step, key=grid.shape)

    def clip_luminance(self, rig: Rig, paper: Floats, foil: Floats) -> float:
        """Return the luminance that clips, given those that paper and foil show."""
        return settings_from(rig, paper, foil).clip_cd_m2

    def seen_shares(self, rig: Rig) -> dict[str, float]:
        """Return the share of the foil's artwork that mirrors each thing."""
        layers = self._ready(rig).layers(rig)
        weight = self.foil_share(rig)
        found = {
            name: float(weight[layers.sees == i].sum() / max(float(weight.sum()), 1e-9))
            for i, name in enumerate(layers.sees_names)
        }
        return {name: share for name, share in found.items() if share > 0}

    def _ready(self, rig: Rig) -> Engine:
        """Return the engine, begun with the first rig that is asked about."""
        if self._engine is None:
            self._engine = Engine(rig, self._detail)
        return self._engine


class Models:
    """The models that one process has in use, by detail: what has not moved is not lit anew.

    Arrangements of the same sheet share room, table and camera, so an engine follows from one
    to the next in a fraction of the time that a new one takes.

    Parameters
    ----------
    most : int
        How many are kept; the one that was not asked for longest goes.
    """

    def __init__(self, most: int = 2) -> None:
        self._most = most
        self._kept: list[tuple[Detail, Sheet, EngineModel]] = []

    def of(self, rig: Rig, detail: Detail) -> EngineModel:
        """Return the model for rigs of a rig's sheet at a detail."""
        for entry in self._kept:
            if entry[0] == detail and entry[1] is rig.sheet:
                self._kept.remove(entry)
                break
        else:
            entry = (detail, rig.sheet, EngineModel(rig, detail))
        self._kept = [entry, *self._kept][: self._most]
        return entry[2]
