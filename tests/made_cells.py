"""Cells of a sheet whose levels are still to be worked out, for tests of the fit."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.estimate.seen import SeenSheet

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Floats
    from lightplan.scene import Rig


def cells_at(
    x_mm: Floats,
    y_mm: Floats,
    *,
    is_foil: bool | Floats,
    purity: float | Floats = 1.0,
    spread_mm: float,
) -> SeenSheet:
    """Return cells at places of a sheet, told to a hundredth of a stop."""
    count = len(x_mm)
    nought = np.zeros((count, 3))
    return SeenSheet(
        stops=nought,
        noise=nought + 0.01,
        ended=nought > 1,
        is_foil=np.broadcast_to(is_foil, count).astype(bool),
        purity=np.broadcast_to(purity, count).astype(float),
        x_mm=np.asarray(x_mm, float),
        y_mm=np.asarray(y_mm, float),
        spread_mm=spread_mm,
        radius2=np.zeros(count),
    )


def cells_over(rig: Rig, kinds: Sequence[tuple[bool, float]]) -> SeenSheet:
    """Return cells over all of a sheet, one of each kind (is foil, purity) at each place."""
    x, y = (
        axis.ravel()
        for axis in np.meshgrid(
            np.linspace(-0.42, 0.42, 9) * rig.sheet.width_mm,
            np.linspace(-0.42, 0.42, 7) * rig.sheet.height_mm,
        )
    )
    is_foil, purity = (np.repeat(one, len(x)) for one in zip(*kinds, strict=True))
    x, y = (np.tile(one, len(kinds)) for one in (x, y))
    return cells_at(x, y, is_foil=is_foil, purity=purity, spread_mm=4.0)
