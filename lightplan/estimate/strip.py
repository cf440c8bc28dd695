"""A strip of the sheet's own foil beside it: a mirror where the product has little foil, or none.

What narrow foil mirrors is a small part of what stands round it. A strip of the same foil that lies
in the sheet's plane mirrors the rest; where it lies is known, so the light engine works it out as
it does the sheet's. Only its own lean differs: an offcut that was glued down is not as flat as a
table, and that is fitted along.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.arrays import read_only
from lightplan.errors import RigError
from lightplan.estimate.cell_levels import CellLevels, CellLight
from lightplan.estimate.fit import EFFECTIVE_FOIL, FOIL_MODEL, Columns, Fitter
from lightplan.estimate.seen import seen_together
from lightplan.estimate.solving import FitSystem, joined
from lightplan.scene import Card, Placement, Side
from lightplan.scene.sheet import Flatness, Sheet

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from lightplan.arrays import Doubles
    from lightplan.estimate.seen import SeenSheet
    from lightplan.estimate.solving import Name
    from lightplan.scene import Rig

LEAN_DEG = 0.3
"""Standard deviation of each lean of an offcut that was glued down: from memory."""
MODEL, EDGE_MM = 0.05, 0.6
"""The model's own error in bare foil, in stops, and how far its cells may lie off: there is no
paper in them, and no stamped edge."""
EFFECTIVE = 24.0
"""Independent data in a strip: its cells err together, as those of the sheet do. Ours."""
SHEET = "the sheet beside the strip"
AXES = ("x_mm", "y_mm", "z_mm")
LEANS = (("strip", "lean_x_deg"), ("strip", "lean_y_deg"))


@dataclass(frozen=True, eq=False)
class Strip:
    """A strip of foil beside the sheet, as it was photographed.

    Parameters
    ----------
    seen : SeenSheet
        Its cells, all of them foil; places from its middle, along the sheet's axes.
    middle_mm : (2,) float
        From the sheet's middle.
    width_mm, height_mm : float
        Of what was read, along the sheet's axes.
    """

    seen: SeenSheet
    middle_mm: tuple[float, float]
    width_mm: float
    height_mm: float


def rig_of_strip(rig: Rig, strip: Strip) -> Rig:
    """Return the rig as the strip sees it: it lies in the middle, all foil, and flat.

    The sheet itself is a board beside it that scatters evenly, foil and all: bright paper lights
    the cards that the strip mirrors.

    Raises
    ------
    RigError
        Where something stands on the strip.
    """
    x, y = strip.middle_mm

    def there(at: Placement) -> Placement:
        places = (at.position_mm, at.aim_mm)
        position, aim = ((p[0] - x, p[1] - y, p[2]) for p in places)
        return replace(at, position_mm=position, aim_mm=aim)

    foil = replace(rig.sheet.foil, relief=None)
    sheet = replace(
        rig.sheet,
        width_mm=strip.width_mm,
        height_mm=strip.height_mm,
        foil=foil,
        flatness=Flatness(),
        artwork=read_only([[1.0]]),
        artwork_file=None,
    )
    return replace(
        rig,
        sheet=sheet,
        camera=replace(rig.camera, placement=there(rig.camera.placement)),
        lamps=tuple(replace(one, placement=there(one.placement)) for one in rig.lamps),
        cards=(
            *(replace(one, placement=there(one.placement)) for one in rig.cards),
            _board(rig.sheet, (-x, -y)),
        ),
        shells=tuple(
            replace(s, centre_mm=(s.centre_mm[0] - x, s.centre_mm[1] - y, s.centre_mm[2]))
            for s in rig.shells
        ),
        props=(),
        freedoms=(),
    )


def _board(sheet: Sheet, middle_mm: tuple[float, float]) -> Card:
    x, y = middle_mm
    red, green, blue = sheet.paper.reflectance
    side = Side(finish="grey", reflectance=(red, green, blue))
    at = Placement((x, y, 0.0), (x, y, 100.0))
    return Card(
        name=SHEET,
        placement=at,
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
        front=side,
        back=side,
    )


def with_strip(
    rig: Rig, levels: CellLevels, fitter: Fitter, strip: Strip
) -> tuple[CellLevels, Fitter]:
    """Return levels and fitter of a photograph that shows a strip beside the sheet.

    What stands on the strip's place in the rig leaves them as they are.
    """
    try:
        own = rig_of_strip(rig, strip)
        beside = CellLevels(own, strip.seen)
    except RigError:
        return levels, fitter
    lens = np.asarray(own.camera.placement.position_mm, float)
    return LevelsWithStrip(levels, beside, strip), FitterWithStrip(fitter, strip, lens)


class LevelsWithStrip(CellLevels):
    """Levels in the cells of the sheet, then in those of the strip."""

    def __init__(self, sheet: CellLevels, beside: CellLevels, strip: Strip) -> None:
        self.planned, self.lights = sheet.planned, sheet.lights
        self._sheet, self._beside, self._strip = sheet, beside, strip

    def light(self, rig: Rig) -> CellLight:
        """Return the light of a rig with the planned one's lamps, cards and shells."""
        return _one_after_other(
            self._sheet.light(rig), self._beside.light(rig_of_strip(rig, self._strip))
        )

    def look_ahead(self, wanted: Sequence[Mapping[Name, float]]) -> None:
        """Work out the light of many rigs that are off the plan by some values."""
        self._sheet.look_ahead(wanted)
        self._beside.look_ahead([of_strip(one) for one in wanted])

    def light_of(self, values: Mapping[Name, float]) -> CellLight | None:
        """Return the light of the rig off the plan by some values; None where that cannot be."""
        sheet, beside = self._sheet.light_of(values), self._beside.light_of(of_strip(values))
        return None if sheet is None or beside is None else _one_after_other(sheet, beside)

    def light_with_more(self, rig: Rig) -> CellLight:
        """Return the light of the planned rig with other lamps besides."""
        return _one_after_other(
            self._sheet.light_with_more(rig),
            self._beside.light_with_more(rig_of_strip(rig, self._strip)),
        )

    def mixing(self) -> Doubles:
        """Return how many stops brighter a cell's other material makes it; a strip has none."""
        return np.concatenate([self._sheet.mixing(), np.zeros((len(self._strip.seen), 3))])


def of_strip(values: Mapping[Name, float]) -> dict[Name, float]:
    """Return values less the sheet's own: the strip has no part in its bow."""
    return {name: value for name, value in values.items() if name[0] != "sheet"}


def _one_after_other(sheet: CellLight, beside: CellLight) -> CellLight:
    return CellLight(sheet.names, np.concatenate([sheet.light, beside.light], axis=1))


class FitterWithStrip(Fitter):
    """Fits rigs to a photograph of the sheet and of the strip beside it."""

    _sheet: Fitter
    _beside: Fitter
    _ways: Doubles

    def __init__(self, sheet: Fitter, strip: Strip, lens_mm: Doubles) -> None:
        # frozen: all but the data is asked of the sheet's own
        for name, value in vars(sheet).items():
            object.__setattr__(self, name, value)
        x, y = strip.middle_mm
        own = replace(strip.seen, x_mm=strip.seen.x_mm + x, y_mm=strip.seen.y_mm + y)
        object.__setattr__(self, "seen", seen_together([sheet.seen, own]))
        object.__setattr__(self, "_sheet", sheet)
        object.__setattr__(self, "_beside", as_beside(sheet, strip.seen))
        object.__setattr__(self, "_ways", lens_ways(lens_mm))

    @property
    def on_sheet(self) -> int:
        """Cells that lie on the sheet; they are the first."""
        return len(self._sheet.seen)

    def system(self, light: Doubles, columns: Columns, exposure: float) -> FitSystem:
        """Return the linear system about light (n, 3) under an exposure."""
        count = self.on_sheet
        own = replace(columns, values=columns.values[count:])
        sheet = self._sheet.system(
            light[:count], replace(columns, values=columns.values[:count]), exposure
        )
        leans = lean_columns(own, self._ways)
        beside = self._beside.system(light[count:], own.joined(leans), exposure)
        return joined([sheet, beside])


def as_beside(sheet: Fitter, seen: SeenSheet) -> Fitter:
    """Return what fits rigs to a strip's cells with all else that is known of the photograph."""
    model = MODEL * sheet.foil_model / FOIL_MODEL
    # frames that show the same share the weight of their data, see `several.shared`
    effective = (EFFECTIVE * sheet.effective[0] / EFFECTIVE_FOIL, 1.0)
    return replace(sheet, seen=seen, effective=effective, foil_model=model, edge_mm=EDGE_MM)


def lean_columns(columns: Columns, ways: Doubles) -> Columns:
    """Return what a strip's own leans do to it: what steps of the lens would, see `lens_ways`."""
    at = [columns.names.index(("camera", axis)) for axis in AXES]
    values = columns.values[..., at] @ ways.T
    return Columns.of(LEANS, values, [LEAN_DEG] * 2)


def lens_ways(lens_mm: Doubles) -> Doubles:
    """Return the step of the lens that shows in a mirror what a degree of lean would, (2, 3).

    A mirror with normal n that leans by a small angle towards t shows what it did from c, the
    lens's place from its middle, as if the lens had moved by 2 ((t.c) n - (n.c) t) times the
    angle: the mirrored place of the lens moves alike. t is along x, then along y.

    >>> lens_ways(np.array([0.0, 0.0, 500.0]))[0].round(2).tolist()
    [-17.45, 0.0, 0.0]
    """
    normal = np.array([0.0, 0.0, 1.0])
    ways = [
        2 * ((t @ lens_mm) * normal - (normal @ lens_mm) * t)
        for t in (np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))
    ]
    return np.asarray(math.radians(1.0) * np.stack(ways), float)
