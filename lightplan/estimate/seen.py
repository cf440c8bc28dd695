"""What a photograph tells of the light: levels of foil and paper in cells, with their noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import binary_erosion

from lightplan.measures.grid import shrink

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Singles
    from lightplan.measures import SheetMaps

CELLS_LONG_SIDE = 28
LEAST_COVER = 0.04
"""Share of a cell that must be of one material: small shapes count, with their larger noise."""
SOLID_FOIL, SOLID_PAPER = 0.9, 0.02
THIN_FOIL = 0.6
FLOOR = 2.0**-8
"""Added to levels before the logarithm: below it files hold noise and rounding."""
MOST_PAPER_CELLS = 260
CLIPPED_SHARE = 0.02


@dataclass(frozen=True, eq=False)
class SeenSheet:
    """Levels of n cells of one photograph; foil and paper apart.

    Parameters
    ----------
    stops : (n, 3) float
        log2 of the mean linear level, `FLOOR` added, 0 = clip level.
    noise : (n, 3) float
        Standard deviation of that from the noise of the pixels alone. [stops]
    ended : (n, 3) bool
        Channels of which a part is clipped: the level is at least this.
    is_foil : (n,) bool
    purity : (n,) float
        Mean share of the cell's own material in the pixels that were used.
    x_mm, y_mm : (n,) float
        Centroid on the sheet.
    spread_mm : (n,) float
        Half the cell's side.
    radius2 : (n,) float
        Squared distance from the picture's middle, 1 in its corners.
    """

    stops: Doubles
    noise: Doubles
    ended: Booleans
    is_foil: Booleans
    purity: Doubles
    x_mm: Doubles
    y_mm: Doubles
    spread_mm: float
    radius2: Doubles

    def __len__(self) -> int:
        return len(self.x_mm)


def seen_sheet(maps: SheetMaps, radius2: Doubles) -> SeenSheet:
    """Return the cells of a squared photograph.

    Parameters
    ----------
    maps : SheetMaps
    radius2 : (rows, cols) float
        Of each pixel of the maps, in the photograph's frame; see `SeenSheet`.
    """
    scale = CELLS_LONG_SIDE / max(maps.foil.shape)
    shape = (max(4, round(maps.foil.shape[0] * scale)), max(4, round(maps.foil.shape[1] * scale)))
    parts = []
    for is_foil in (True, False):
        share = maps.foil if is_foil else np.float32(1) - maps.foil
        solid = _solid(maps.foil, maps.valid, is_foil=is_foil)
        parts.append(_cells(maps, share, solid, shape, radius2, is_foil=is_foil))
    joined = [np.concatenate([part[name] for part in parts]) for name in parts[0]]
    named = dict(zip(parts[0], joined, strict=True))
    half = 0.5 * max(maps.width_mm, maps.height_mm) / CELLS_LONG_SIDE
    return SeenSheet(spread_mm=half, **named)


def _solid(foil: Singles, valid: Booleans, *, is_foil: bool) -> Singles:
    """Return 1 on the pixels that show one material, away from the edges where there is room."""
    if is_foil:
        enough = 0.4 * float((foil * valid).sum())
        for least in (SOLID_FOIL, THIN_FOIL, 0.4):
            found = (foil >= least) & valid
            if found.sum() >= enough:
                break
    else:
        found = (foil <= SOLID_PAPER) & valid
    inner = binary_erosion(found, np.ones((3, 3)), border_value=1)
    return np.where(inner.sum() >= 0.3 * found.sum(), inner, found).astype(np.float32)


def _cells(
    maps: SheetMaps,
    share: Singles,
    solid: Singles,
    shape: tuple[int, int],
    radius2: Doubles,
    *,
    is_foil: bool,
) -> dict[str, Doubles]:
    cover = shrink(solid, shape).ravel().astype(float)
    at = np.flatnonzero(cover >= LEAST_COVER)
    if not is_foil and len(at) > MOST_PAPER_CELLS:
        at = at[:: -(-len(at) // MOST_PAPER_CELLS)]
    pixels = maps.foil.size / (shape[0] * shape[1])
    weight = cover[at]

    def mean(picture: Singles) -> Doubles:
        many = picture if picture.ndim == 3 else picture[..., None]
        small = shrink(np.ascontiguousarray(many * solid[..., None], np.float32), shape)
        small = small.reshape(shape[0] * shape[1], -1)[at] / weight[:, None]
        return np.asarray(small if picture.ndim == 3 else small[:, 0], float)

    level = mean(np.minimum(maps.linear, np.float32(1.0)))
    square = mean(np.minimum(maps.linear, np.float32(1.0)) ** 2)
    spread = np.sqrt(np.maximum(square - level**2, 1e-10))
    count = np.maximum(pixels * weight, 1.0)[:, None]
    rows, cols = maps.foil.shape
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * maps.width_mm
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * maps.height_mm
    ones = np.ones((rows, cols), np.float32)
    return {
        "stops": np.log2(level + FLOOR),
        "noise": spread / np.sqrt(count) / (level + FLOOR) / np.log(2),
        "ended": mean(maps.clipped.astype(np.float32)) > CLIPPED_SHARE,
        "is_foil": np.full(len(at), is_foil),
        "purity": np.clip(mean(share), 0.05, 1.0),
        "x_mm": mean(ones * x.astype(np.float32)),
        "y_mm": mean(ones * y[:, None].astype(np.float32)),
        "radius2": mean(radius2.astype(np.float32)),
    }
