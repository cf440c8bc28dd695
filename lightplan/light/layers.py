"""What the engine returns: luminance of the sheet as paper and as foil."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Integers, Singles
    from lightplan.light.rim import Rim


@dataclass(frozen=True, eq=False)
class Layers:
    """The predicted light on the sheet, and what the camera makes of it.

    Luminances are in cd/m2 per colour channel: a neutral lamp has three equal channels.

    Attributes
    ----------
    sheet_x_mm, sheet_y_mm : (cols,), (rows,) float
        The sheet's grid; row 0 is the far edge, so `sheet_y_mm` falls.
    sheet_paper, sheet_foil : (rows, cols, 3) float32
        As if the whole sheet were paper, or foil.
    sees : (rows, cols) int
        What each point mirrors to the camera, an index into `sees_names`.
    camera_xyz_mm : (r, c, 3) float
        Point of the sheet under each pixel's middle; NaN off the sheet or where
        something stands before it.
    camera_paper, camera_foil : (r, c, 3) float32
        The layers in the camera's frame; NaN off the sheet.
    camera_surround : (r, c, 3) float32
        What the camera sees beside the sheet; NaN on the sheet.
    rim : Rim or None
        What the edge of stamped foil shows; None for level foil and for a quick look.
    """

    sheet_x_mm: Doubles
    sheet_y_mm: Doubles
    sheet_paper: Singles
    sheet_foil: Singles
    sees: Integers
    sees_names: tuple[str, ...]
    camera_xyz_mm: Doubles
    camera_paper: Singles
    camera_foil: Singles
    camera_surround: Singles
    rim: Rim | None = None

    def __post_init__(self) -> None:
        for item in fields(self):
            value = getattr(self, item.name)
            if isinstance(value, np.ndarray):
                value.setflags(write=False)


@dataclass(frozen=True, eq=False)
class LampLayers:
    """The sheet under each lamp alone at full power; light adds up.

    Attributes
    ----------
    names : tuple of str
        The lamps in the rig's order, then "surroundings".
    paper, foil : (lamps + 1, rows, cols, 3) float32
        cd/m2.
    rims : tuple of Rim
        What the edge of stamped foil shows under each; empty for level foil and a quick look.
    """

    names: tuple[str, ...]
    paper: Singles
    foil: Singles
    rims: tuple[Rim, ...] = ()

    def mix(self, powers: Doubles) -> tuple[Singles, Singles]:
        """Return (paper, foil) for a power share per lamp, surroundings added in full."""
        share = np.append(np.asarray(powers, np.float32), np.float32(1.0))
        return (
            np.asarray(np.tensordot(share, self.paper, 1), np.float32),
            np.asarray(np.tensordot(share, self.foil, 1), np.float32),
        )
