"""What a photograph tells of the light: levels of foil and paper in cells, with their noise."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures.grid import shrink

if TYPE_CHECKING:
    from collections.abc import Sequence

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
SHARED_BY = 2.0
"""Pixels of a squared picture that err together: it is laid out between those of the file, which
JPEG keeps in blocks."""
BLOCKS, AROUND, LEAST_BLOCKS = 3, 2, 12
"""Blocks along a side of a cell, cells around it, and blocks at the least, by whose scatter the
error of a mean is told."""
SECOND_DIFFERENCE, MEDIAN_OF_SQUARE = 6.0, 0.455
"""Variance of a - 2 b + c beside that of each; median of a squared normal beside its mean."""


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
    shape = _shape_of(maps)
    parts = []
    for is_foil in (True, False):
        share = maps.foil if is_foil else np.float32(1) - maps.foil
        solid = _solid(maps.foil, maps.valid, is_foil=is_foil)
        parts.append(_cells(maps, share, solid, shape, radius2, is_foil=is_foil))
    joined = [np.concatenate([part[name] for part in parts]) for name in parts[0]]
    named = dict(zip(parts[0], joined, strict=True))
    half = 0.5 * max(maps.width_mm, maps.height_mm) / CELLS_LONG_SIDE
    return SeenSheet(spread_mm=half, **named)


def seen_samples(
    linear: Singles,
    clipped: Booleans,
    pixels: float,
    *,
    places_mm: Doubles,
    radius2: Doubles,
    spread_mm: float,
) -> SeenSheet:
    """Return cells of bare foil that were read by samples.

    Parameters
    ----------
    linear : (n, k, 3) float
        1 = clip level.
    clipped : (n, k, 3) bool
    pixels : float
        Of the photograph in a cell.
    places_mm : (n, 2) float
    radius2 : (n,) float
    spread_mm : float
    """
    known = np.minimum(linear, 1.0).astype(float)
    level = known.mean(axis=1)
    count = max(1.0, min(float(linear.shape[1]), pixels) / SHARED_BY)
    noise = np.maximum(known.std(axis=1), 1e-5) / np.sqrt(count) / (level + FLOOR) / np.log(2)
    return SeenSheet(
        stops=np.log2(level + FLOOR),
        noise=noise,
        ended=clipped.mean(axis=1) > CLIPPED_SHARE,
        is_foil=np.ones(len(level), bool),
        purity=np.ones(len(level)),
        x_mm=places_mm[:, 0],
        y_mm=places_mm[:, 1],
        spread_mm=spread_mm,
        radius2=radius2,
    )


def seen_together(parts: Sequence[SeenSheet]) -> SeenSheet:
    """Return the cells of several photographs, one after the other."""
    names = ("stops", "noise", "ended", "is_foil", "purity", "x_mm", "y_mm", "radius2")
    joined = {name: np.concatenate([getattr(one, name) for one in parts]) for name in names}
    return SeenSheet(spread_mm=parts[0].spread_mm, **joined)


def steps_of(before: SheetMaps, after: SheetMaps) -> tuple[Doubles, Doubles]:
    """Return how many stops brighter each cell has become, and the standard error, (n, 3).

    The cells are those of `seen_sheet`, for two pictures with one mask. Pixel for pixel, so that
    what both show alike within a cell (a gradient, an edge) counts for no noise. Pixels of a file
    err together, those of one JPEG block most: how much means of small blocks scatter tells it.
    """
    shape = _shape_of(before)
    floor = np.float32(FLOOR)
    levels = [np.log2(np.clip(m.linear, 0, 1) + floor) for m in (before, after)]
    change = np.asarray(levels[1] - levels[0], np.float32)
    steps, errors = [], []
    for is_foil in (True, False):
        cells = _Cells(_solid(before.foil, before.valid, is_foil=is_foil), shape, is_foil=is_foil)
        step = cells.mean(change)
        spread = np.sqrt(np.maximum(cells.mean(change**2) - step**2, 1e-8))
        steps.append(step)
        alone = spread / np.sqrt(cells.count[:, None] / SHARED_BY)
        errors.append(np.maximum(alone, cells.scatter(change)))
    return np.concatenate(steps), np.concatenate(errors)


class _Cells:
    """Means over the cells of one material that are covered well enough."""

    def __init__(self, solid: Singles, shape: tuple[int, int], *, is_foil: bool) -> None:
        cover = shrink(solid, shape).ravel().astype(float)
        at = np.flatnonzero(cover >= LEAST_COVER)
        if not is_foil and len(at) > MOST_PAPER_CELLS:
            at = at[:: -(-len(at) // MOST_PAPER_CELLS)]
        self.at, self._solid, self._shape = at, solid, shape
        self._weight = cover[at]
        pixels = solid.size / (shape[0] * shape[1])
        self.count = np.maximum(pixels * self._weight, 1.0)

    def mean(self, picture: Singles) -> Doubles:
        """Return the mean of a picture over the solid pixels of each cell."""
        many = picture if picture.ndim == 3 else picture[..., None]
        small = shrink(np.ascontiguousarray(many * self._solid[..., None], np.float32), self._shape)
        small = small.reshape(self._shape[0] * self._shape[1], -1)[self.at] / self._weight[:, None]
        return np.asarray(small if picture.ndim == 3 else small[:, 0], float)

    def scatter(self, picture: Singles) -> Doubles:
        """Return the standard error of each cell's mean by how blocks of it scatter, (n, 3).

        Of the blocks in and around a cell the second differences are taken, which a gradient
        leaves at nought, and their median, which an edge does not touch; nought where too few
        blocks are solid.
        """
        fine = (BLOCKS * self._shape[0], BLOCKS * self._shape[1])
        cover = shrink(self._solid, fine)
        whole = shrink(np.ascontiguousarray(picture * self._solid[..., None], np.float32), fine)
        solid = cover >= 0.5
        level: Doubles = np.where(
            solid[..., None], whole / np.maximum(cover, 0.1)[..., None], np.nan
        )
        squares = np.full((2, *level.shape), np.nan)
        squares[0, 1:-1] = (level[:-2] - 2 * level[1:-1] + level[2:]) ** 2
        squares[1, :, 1:-1] = (level[:, :-2] - 2 * level[:, 1:-1] + level[:, 2:]) ** 2
        found = np.zeros((len(self.at), picture.shape[-1]))
        for i, (row, col) in enumerate(zip(*np.divmod(self.at, self._shape[1]), strict=True)):
            rows, cols = (
                slice(max(0, BLOCKS * (k - AROUND)), BLOCKS * (k + AROUND + 1)) for k in (row, col)
            )
            near = squares[:, rows, cols].reshape(-1, picture.shape[-1])
            near = near[np.isfinite(near).all(axis=1)]
            if len(near) >= LEAST_BLOCKS:
                block = np.median(near, axis=0) / (MEDIAN_OF_SQUARE * SECOND_DIFFERENCE)
                found[i] = np.sqrt(block / max(1.0, BLOCKS**2 * self._weight[i]))
        return found


def _shape_of(maps: SheetMaps) -> tuple[int, int]:
    """Return how many cells lie along the sheet's sides."""
    scale = CELLS_LONG_SIDE / max(maps.foil.shape)
    rows, cols = (max(4, round(n * scale)) for n in maps.foil.shape)
    return rows, cols


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
    inner = _eroded(found)
    return np.where(inner.sum() >= 0.3 * found.sum(), inner, found).astype(np.float32)


def _eroded(mask: Booleans) -> Booleans:
    """Return the places of a mask whose eight neighbours are in it too; beyond the edge all are."""
    padded = np.pad(mask, 1, constant_values=True)
    level = padded[:, :-2] & padded[:, 1:-1] & padded[:, 2:]
    return np.asarray(level[:-2] & level[1:-1] & level[2:])


def _cells(
    maps: SheetMaps,
    share: Singles,
    solid: Singles,
    shape: tuple[int, int],
    radius2: Doubles,
    *,
    is_foil: bool,
) -> dict[str, Doubles]:
    cells = _Cells(solid, shape, is_foil=is_foil)
    mean = cells.mean
    level = mean(np.minimum(maps.linear, np.float32(1.0)))
    square = mean(np.minimum(maps.linear, np.float32(1.0)) ** 2)
    spread = np.sqrt(np.maximum(square - level**2, 1e-10))
    count = cells.count[:, None]
    rows, cols = maps.foil.shape
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * maps.width_mm
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * maps.height_mm
    ones = np.ones((rows, cols), np.float32)
    return {
        "stops": np.log2(level + FLOOR),
        "noise": spread / np.sqrt(count) / (level + FLOOR) / np.log(2),
        "ended": mean(maps.clipped.astype(np.float32)) > CLIPPED_SHARE,
        "is_foil": np.full(len(cells.at), is_foil),
        "purity": np.clip(mean(share), 0.05, 1.0),
        "x_mm": mean(ones * x.astype(np.float32)),
        "y_mm": mean(ones * y[:, None].astype(np.float32)),
        "radius2": mean(radius2.astype(np.float32)),
    }


def steepness(seen: SeenSheet) -> Doubles:
    """Return the slope of each cell's level towards its nearest cells of the same material."""
    found = np.zeros(len(seen))
    middle = seen.stops.mean(axis=1)
    for material in (True, False):
        at = np.flatnonzero(seen.is_foil == material)
        if len(at) < 4:
            continue
        apart = np.hypot(seen.x_mm[at, None] - seen.x_mm[at], seen.y_mm[at, None] - seen.y_mm[at])
        near = np.argsort(apart, axis=1)[:, 1:5]
        rows = np.arange(len(at))[:, None]
        rise = np.abs(middle[at][near] - middle[at][:, None]) / np.maximum(apart[rows, near], 1.0)
        found[at] = np.median(rise, axis=1)
    return found
