"""Foil told from a straight photograph of the print, where its artwork is not at hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.artwork.coloured import LONG_SIDE
from lightplan.errors import PhotoError
from lightplan.optics.colour import srgb_encode
from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.sheet.corners import SheetFound, corners_by_hand
from lightplan.shots.sheet.laid_out import LaidSheet, lay_out
from lightplan.shots.sheet.location import find_in_shot
from lightplan.tasks.foil_artwork import FoilArtwork

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.shots.shot import Shot

READ_PX = 2 * LONG_SIDE
ALIKE = 0.04
"""Logarithm of two shapes' ratio up to which a picture without surroundings is the sheet itself."""
LEAST_FOIL = 0.001
"""Share of the sheet below which nothing was told from the paper."""


def artwork_of_print(path: Path, *, width_mm: float, height_mm: float) -> FoilArtwork:
    """Return a photographed print squared, and as its cover all that is not paper.

    Parameters
    ----------
    path : Path
        A photograph from straight above, or a scan. Ink departs from paper as foil does: whoever
        looks at it tells the two apart by colour.
    width_mm, height_mm : float
        Of the sheet, which is found in the photograph by its shape.

    Raises
    ------
    PhotoError
        When it cannot be read, the sheet is not found, or nothing on it departs from paper.
    """
    shot = read_shot(path, long_side_px=READ_PX)
    context = PhotoContext(width_mm=width_mm, height_mm=height_mm)
    laid = _laid(shot, context, path.name)
    cover = np.asarray(laid.segmented.foil)
    if float(cover.mean()) < LEAST_FOIL:
        raise PhotoError(
            field="print",
            wanted="foil that differs from its paper in brightness or colour",
            got="an even sheet",
            cure="photograph it with a white board above, so that the metal is bright",
            file=path.name,
        )
    codes = np.round(255 * srgb_encode(np.clip(laid.squared.linear, 0, 1))).astype(np.uint8)
    return FoilArtwork(codes, np.ascontiguousarray(cover, np.float32), path.name)


def _laid(shot: Shot, context: PhotoContext, name: str) -> LaidSheet:
    found, _ = find_in_shot(shot, context)
    if not isinstance(found, SheetFound):
        shape = (shot.rows, shot.cols)
        ratio = (shape[1] / shape[0]) / (context.width_mm / context.height_mm)
        if abs(np.log(ratio)) > ALIKE:
            raise PhotoError(
                field="print",
                wanted=f"a sheet of {context.width_mm:g} x {context.height_mm:g} mm, whole",
                got="none that is seen: " + found.reason[:1].lower() + found.reason[1:].rstrip("."),
                cure="lay it on a ground of another colour and photograph it from straight above",
                file=name,
            )
        down, across = shape[0] - 1.0, shape[1] - 1.0
        frame = np.array([[0, 0], [0, across], [down, across], [down, 0]])
        found = corners_by_hand(frame, shape)
    return lay_out(shot, found, context, grid_px=LONG_SIDE)
