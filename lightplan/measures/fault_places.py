"""Where on the sheet a fault is: x and y in mm from its middle."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.measures.grid import SOLID_FOIL, Region
from lightplan.measures.smooth import smooth_level

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles
    from lightplan.measures.levels import Levels
    from lightplan.measures.maps import SheetMaps

Point = tuple[float, float]


def middle(_maps: SheetMaps, _levels: Levels) -> Point:
    """Return the sheet's middle."""
    return (0.0, 0.0)


def foil(maps: SheetMaps, _: Levels) -> Point:
    """Return the middle of the foil."""
    return _centre(maps.grid.foil)


def paper(maps: SheetMaps, _: Levels) -> Point:
    """Return the middle of the paper."""
    return _centre(maps.grid.paper)


def clipped_foil(maps: SheetMaps, _: Levels) -> Point:
    """Return the middle of the largest clipped patch of foil."""
    return _largest_patch(maps, maps.grid.foil)


def clipped_paper(maps: SheetMaps, _: Levels) -> Point:
    """Return the middle of the largest clipped patch of paper."""
    return _largest_patch(maps, maps.grid.paper)


def darkest_foil(maps: SheetMaps, levels: Levels) -> Point:
    """Return the darkest cell of foil."""
    return _cell(maps.grid.foil, -levels.foil_stops)


def brightest_foil(maps: SheetMaps, levels: Levels) -> Point:
    """Return the brightest cell of foil."""
    return _cell(maps.grid.foil, levels.foil_stops)


def brightest(maps: SheetMaps, levels: Levels) -> Point:
    """Return the brightest cell of the sheet."""
    if len(levels.paper_stops) and levels.paper_stops.max() > levels.foil_stops.max():
        return _cell(maps.grid.paper, levels.paper_stops)
    return brightest_foil(maps, levels)


def oddest_foil(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of foil farthest from the median level."""
    return _cell(maps.grid.foil, np.abs(levels.foil_stops - np.median(levels.foil_stops)))


def oddest_paper(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of paper farthest from the median level."""
    return _cell(maps.grid.paper, np.abs(levels.paper_stops - np.median(levels.paper_stops)))


def off_plane(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of foil farthest from the plane through all of them."""
    off = levels.foil_stops - smooth_level(levels.foil_stops, maps.grid.plane)
    return _cell(maps.grid.foil, np.abs(off))


def foil_glare(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of foil highest above its smooth level."""
    off = levels.foil_stops - smooth_level(levels.foil_stops, maps.grid.plane)
    return _cell(maps.grid.foil, off)


def paper_glare(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of paper highest above its smooth level."""
    off = levels.paper_stops - maps.grid.paper_surface @ levels.paper_fit
    return _cell(maps.grid.paper, off)


def least_contrast(maps: SheetMaps, levels: Levels) -> Point:
    """Return the cell of foil closest to the paper's level beside it."""
    return _cell(
        maps.grid.foil, -np.abs(levels.foil_stops - maps.grid.foil_surface @ levels.paper_fit)
    )


def pixel_to_mm(maps: SheetMaps, row: float, col: float) -> Point:
    """Return the place of a pixel's middle; fractions lie between pixels."""
    rows, cols = maps.foil.shape
    return (((col + 0.5) / cols - 0.5) * maps.width_mm, (0.5 - (row + 0.5) / rows) * maps.height_mm)


def region_mask(maps: SheetMaps, region: Region) -> Booleans:
    """Return the solid pixels of a region as a map (rows, cols)."""
    mask = np.zeros(maps.foil.size, np.bool_)
    mask[region.pixels] = True
    return mask.reshape(maps.foil.shape)


def unmixed_pixels(maps: SheetMaps) -> Booleans:
    """Return the pixels that are nearly all foil or nearly all paper.

    Of thin artwork the solid pixels are mixtures; their edges must not pass for spots.
    """
    pure: Booleans = (maps.foil >= SOLID_FOIL) | (maps.foil <= 1.0 - SOLID_FOIL)
    return pure


def _largest_patch(maps: SheetMaps, region: Region) -> Point:
    hit = maps.clipped.any(axis=2) & region_mask(maps, region)
    count, _, stats, centres = cv2.connectedComponentsWithStats(hit.astype(np.uint8), None)
    if count < 2:
        return _centre(region)
    biggest = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    col, row = centres[biggest]
    return pixel_to_mm(maps, float(row), float(col))


def _centre(region: Region) -> Point:
    if not len(region.cells):
        return (0.0, 0.0)
    weight = region.cover / region.cover.sum()
    return float(region.x_mm @ weight), float(region.y_mm @ weight)


def _cell(region: Region, mark: Doubles) -> Point:
    """Return the cell with the greatest mark, and the middle of those that share it."""
    top = mark >= mark.max() - 1e-9
    return float(region.x_mm[top].mean()), float(region.y_mm[top].mean())
