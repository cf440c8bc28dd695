"""The outline of the sheet in the picture: a pixel that it crosses shows its share of the sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.scene import relief

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles, Floats, Integers
    from lightplan.scene.rig import Rig

PLACES = 4
"""Places of a pixel, each way, that are asked whether they show the sheet."""


def soften(rig: Rig, picture: Floats, on_sheet: Booleans) -> Floats:
    """Return a picture (rows, cols, 3) whose sheet has an edge without steps.

    Every pixel shows what its middle sees. Where the outline crosses one, sheet and
    surroundings are mixed by their shares of it, each as beside it. Things that stand before the
    sheet keep their edges.

    Parameters
    ----------
    on_sheet : (rows, cols) bool
        Pixels whose middles show the sheet.
    """
    edge = _grown(on_sheet) & _grown(~on_sheet)
    row, col = np.nonzero(edge)
    middle = _share(rig, row, col, on_sheet.shape, 1) > 0.5
    free = middle == on_sheet[row, col]  # else something stands before the sheet
    row, col = row[free], col[free]
    if not len(row):
        return picture
    share = _share(rig, row, col, on_sheet.shape, PLACES)[:, None]
    sheet = _beside(picture, on_sheet, row, col)
    ground = _beside(picture, ~on_sheet, row, col)
    mixed = share * sheet + (1.0 - share) * ground
    known = np.isfinite(mixed)
    softer = picture.copy()
    softer[row, col] = np.where(known, mixed, picture[row, col])
    return softer


def _grown(chosen: Booleans) -> Booleans:
    """Return the chosen pixels (rows, cols) and those that share a side with one."""
    grown = chosen.copy()
    grown[1:] |= chosen[:-1]
    grown[:-1] |= chosen[1:]
    grown[:, 1:] |= chosen[:, :-1]
    grown[:, :-1] |= chosen[:, 1:]
    return grown


def _share(rig: Rig, row: Integers, col: Integers, shape: tuple[int, ...], places: int) -> Doubles:
    """Return the share (n,) of pixels that lies within the sheet's outline."""
    right, up, forward = rig.camera.axes()
    tan_x, tan_y = rig.camera.half_angles_tan()
    steps = (np.arange(places) + 0.5) / places
    down, across = (grid.ravel() for grid in np.meshgrid(steps, steps, indexing="ij"))
    x = (2.0 * (col[:, None] + across) / shape[1] - 1.0) * tan_x
    y = (1.0 - 2.0 * (row[:, None] + down) / shape[0]) * tan_y
    ways = forward + x[..., None] * right + y[..., None] * up
    ways /= np.linalg.norm(ways, axis=-1, keepdims=True)
    points = relief.meet(rig.sheet, np.asarray(rig.camera.placement.position_mm), ways)
    with np.errstate(invalid="ignore"):
        inside = np.abs(points[..., 0]) <= rig.sheet.width_mm / 2
        inside &= np.abs(points[..., 1]) <= rig.sheet.height_mm / 2
    return np.asarray(inside.mean(axis=1))


def _beside(picture: Floats, chosen: Booleans, row: Integers, col: Integers) -> Floats:
    """Return the pixel itself where it is chosen, else the mean of its chosen neighbours."""
    rows, cols = chosen.shape
    total = np.zeros((len(row), 3))
    count = np.zeros((len(row), 1))
    for i in (-1, 0, 1):
        for j in (-1, 0, 1):
            r, c = np.clip(row + i, 0, rows - 1), np.clip(col + j, 0, cols - 1)
            takes = chosen[r, c][:, None]
            total += np.where(takes, picture[r, c], 0.0)
            count += takes
    with np.errstate(invalid="ignore"):
        mean = total / count
    return np.where(chosen[row, col][:, None], picture[row, col], mean)
