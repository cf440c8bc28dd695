"""The sheet squared and magnified for drawing: foil, what it mirrors, what clips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.light.exposure import clip_luminance, foil_share

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Floats, Singles
    from lightplan.light import Layers
    from lightplan.scene import Rig


@dataclass(frozen=True, eq=False)
class SheetImage:
    """What the map shows, pixel by pixel of the sheet.

    Attributes
    ----------
    foil : (rows, cols) float32
        Share of foil.
    sees : (rows, cols) int
        Index of the mirrored thing.
    clipped : (rows, cols) bool
        Some channel lies at the clip level or above.
    px_per_mm : float
    """

    foil: Singles
    sees: NDArray[np.intp]
    clipped: Booleans
    px_per_mm: float


def sheet_image(rig: Rig, layers: Layers, long_side_px: int) -> SheetImage:
    """Return the sheet at the size at which it is drawn."""
    wide, high = rig.sheet.width_mm, rig.sheet.height_mm
    scale = long_side_px / max(wide, high)
    rows, cols = max(8, round(high * scale)), max(8, round(wide * scale))
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * wide
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * high
    at = _grid_places(layers, x, y)
    foil = foil_share(rig, *np.meshgrid(x, y), blur_mm=1 / scale)
    paper_level, foil_level = (
        _read(layer, at) for layer in (layers.sheet_paper, layers.sheet_foil)
    )
    level = paper_level + foil[..., None] * (foil_level - paper_level)
    clipped = np.asarray((level >= clip_luminance(rig, layers)).any(axis=2))
    return SheetImage(foil, _read_names(layers, at), clipped, scale)


def _grid_places(layers: Layers, x_mm: Floats, y_mm: Floats) -> tuple[Singles, Singles]:
    """Fractional columns and rows of the layers' grid under each pixel."""
    rows, cols = layers.sees.shape
    first_x, last_x = layers.sheet_x_mm[0], layers.sheet_x_mm[-1]
    first_y, last_y = layers.sheet_y_mm[0], layers.sheet_y_mm[-1]
    col = (x_mm - first_x) / (last_x - first_x) * (cols - 1)
    row = (y_mm - first_y) / (last_y - first_y) * (rows - 1)
    at_col, at_row = np.meshgrid(col.astype(np.float32), row.astype(np.float32))
    return at_col, at_row


def _read(layer: Singles, at: tuple[Singles, Singles]) -> Singles:
    writable = np.array(layer, np.float32)
    return np.asarray(
        cv2.remap(writable, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
    )


def _read_names(layers: Layers, at: tuple[Singles, Singles]) -> NDArray[np.intp]:
    """Return the name with the greatest share round each pixel, so that borders run smooth."""
    shares = [
        _read((layers.sees == i).astype(np.float32), at) for i in range(len(layers.sees_names))
    ]
    return np.asarray(np.argmax(np.stack(shares), axis=0))
