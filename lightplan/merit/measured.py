"""What the measures say of a picture of a rig's sheet: asked in one place, however it was made."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.measures import Measures, SheetMaps, measure

if TYPE_CHECKING:
    from lightplan.arrays import Floats
    from lightplan.scene import Rig


def measures_of(rig: Rig, maps: SheetMaps) -> Measures:
    """Return the measures of a squared picture of a rig's sheet, by its look, foil and stock."""
    return measure(
        maps, rig.look, rig.sheet.foil.judged_kind, stock_reflectance=rig.sheet.paper.reflectance
    )


class SheetReader:
    """Measures pictures of one sheet; what its artwork fixes is worked out with the first.

    Parameters
    ----------
    share : (rows, cols) float
        Foil in each pixel.
    """

    def __init__(self, share: Floats) -> None:
        self._share = share
        self._maps: SheetMaps | None = None

    def measures(self, rig: Rig, linear: Floats) -> Measures:
        """Return the measures of a picture (rows, cols, 3), linear, 1 = clip level."""
        if self._maps is None:
            sheet = rig.sheet
            self._maps = SheetMaps.from_linear(
                linear, self._share, width_mm=sheet.width_mm, height_mm=sheet.height_mm
            )
        return measures_of(rig, self._maps.with_linear(linear))
