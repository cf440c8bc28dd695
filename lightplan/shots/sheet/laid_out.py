"""A found sheet laid out as maps: squared at a chosen scale, foil and paper apart."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures import SheetMaps
from lightplan.shots.sheet import segment, squaring
from lightplan.shots.sheet.orienting import Orientation, orient, oriented

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Singles
    from lightplan.shots.context import PhotoContext
    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.sheet.neighbour import Neighbour
    from lightplan.shots.sheet.squaring import Squared
    from lightplan.shots.shot import Shot

# The picture may have this many pixels to one of the grid before it is averaged down.
_FINER = 1.25


@dataclass(frozen=True, eq=False)
class LaidSheet:
    """The sheet of one photograph, turned as the artwork lies.

    Parameters
    ----------
    found : SheetFound
        Corners in pixels of the shot, named as they lie on the artwork.
    maps : SheetMaps
    squared : Squared
    segmented : Segmentation
        What the maps were made of.
    mirrored : bool
        True where the photograph was the wrong way round, and the maps are not.
    """

    found: SheetFound
    maps: SheetMaps
    squared: Squared
    segmented: segment.Segmentation
    mirrored: bool


def lay_out(
    shot: Shot,
    found: SheetFound,
    context: PhotoContext,
    *,
    grid_px: int,
    near: Neighbour | None = None,
) -> LaidSheet:
    """Return the sheet's maps.

    Parameters
    ----------
    shot : Shot
    found : SheetFound
        Corners in its pixels.
    context : PhotoContext
    grid_px : int
        Most pixels along the grid's long side.
    near : Neighbour or None
        The frame by whose place the corners were found.
    """
    linear, clipped, scaled, origin = _window(shot, found, grid_px)
    size = {"width_mm": context.width_mm, "height_mm": context.height_mm}
    squared = squaring.square(linear, clipped, scaled, origin=origin, long_side=grid_px, **size)
    segmented, mirrored, turned = None, False, found
    if near is not None:
        segmented = near.mask_for(squared)
    if segmented is None:
        squared, segmented, way = _segmented(squared, context)
        mirrored, turned = way.mirrored, found.turned(way.quarters)
    levels = None if shot.encoded.dtype == np.float32 else int(2 ** min(shot.bits, 16))
    maps = SheetMaps(
        linear=squared.linear,
        foil=segmented.foil,
        valid=squared.valid if segmented.page is None else squared.valid & segmented.page,
        clipped=squared.clipped,
        width_mm=squared.width_mm,
        height_mm=squared.height_mm,
        code_levels=levels,
        background=squaring.background(linear, clipped, scaled, origin=origin),
        confidence=segmented.confidence,
    )
    return LaidSheet(turned, maps, squared, segmented, mirrored)


def _segmented(
    squared: Squared, context: PhotoContext
) -> tuple[Squared, segment.Segmentation, Orientation]:
    """Return the sheet turned as the artwork lies, foil and paper apart."""
    if context.artwork is None:
        upright = Orientation(0, mirrored=False, likeness=0.0, lead=0.0)
        return squared, segment.segment_by_look(squared), upright
    way = orient(squared, context.artwork)
    turned = oriented(squared, way)
    return turned, segment.segment_with_artwork(turned, context.artwork), way


def _window(
    shot: Shot, found: SheetFound, grid_px: int
) -> tuple[Singles, Booleans, SheetFound, tuple[int, int]]:
    """Return light and clip flags round the sheet, at a scale that suits the grid.

    Codes are averaged over squares of pixels. Flags are picked, not averaged, so
    that a share counted of them stays the share in the photograph.
    """
    side = np.linalg.norm(np.roll(found.corners, -1, axis=0) - found.corners, axis=1)
    factor = 1
    while side.max() > 2 * factor * _FINER * grid_px:
        factor *= 2
    corners = (found.corners + 0.5) / factor - 0.5
    small = shot.shrunk(factor)
    scaled = replace(found, corners=corners, shape=(small.shape[0], small.shape[1]))
    rows, cols = squaring.window(scaled)
    down, across = (
        slice(s.start * factor + factor // 2, s.stop * factor, factor) for s in (rows, cols)
    )
    flags = shot.clipped_part(down, across)
    light = shot.transfer.linear(np.ascontiguousarray(small[rows, cols]))
    return light, np.ascontiguousarray(flags), scaled, (rows.start, cols.start)
