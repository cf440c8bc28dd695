"""The foil strip in a photograph: where it lies beside the sheet, and what its foil shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.shots.sheet.card import seen_markers
from lightplan.shots.sheet.carded import FIND_PX
from lightplan.shots.sheet.squaring import project, unproject
from lightplan.shots.sheet.strip_layout import (
    CHECK_MM,
    LENGTH_MM,
    WIDTH_MM,
    foil_place,
    strip_markers,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Doubles, Singles
    from lightplan.shots.sheet.laid_out import LaidSheet
    from lightplan.shots.shot import Shot

CELL_MM = 6.0
"""Length of a cell: two checks, so that light and dark ones are alike in number."""
PER_CHECK = 6
"""Places along a check's side at which the picture is read."""
RIM_MM = 1.2
"""Left out along the foil's sides: it is cut by hand, and pixels mix there."""
MOST_RMS_MM = 1.0
"""By which the markers' corners may lie off a slip in the sheet's plane: one that lies on the
table under a thick sheet, or on a book, is not believed."""
SCALES = (0.9, 1.1)
"""Of the slip as printed: "fit to page" makes it 3 to 6 % smaller, which the markers tell."""
BARE = 0.12
"""Contrast of the checks from which a cell is not covered; bare ones have 0.7 and more."""
LEAST_CELLS = 4


@dataclass(frozen=True, eq=False)
class StripFound:
    """What a photograph shows of a strip of foil beside the sheet: n cells that are all foil.

    Parameters
    ----------
    outline : (4, 2) float
        (row, column) of the slip's corners.
    x_mm, y_mm : (n,) float
        The cells' middles on the sheet's axes, from the sheet's middle.
    places : (n, 2) float
        The same in the picture, (row, column).
    linear : (n, k, 3) float
        What is seen in them; 1 = clip level.
    clipped : (n, k, 3) bool
    pixels : float
        Of the photograph in a cell.
    """

    outline: Doubles
    x_mm: Doubles
    y_mm: Doubles
    places: Doubles
    linear: Singles
    clipped: Booleans
    pixels: float


def find_strip(shot: Shot, sheet: LaidSheet) -> StripFound | None:
    """Return the strip that lies beside a sheet; None where none is seen, or no foil is on it."""
    if sheet.mirrored:
        return None
    size = (sheet.maps.width_mm, sheet.maps.height_mm)
    way = _slip_to_sheet(shot, sheet, size)
    return None if way is None else read_strip(shot, sheet, size, way)


def _slip_to_sheet(
    shot: Shot, sheet: LaidSheet, size: tuple[float, float]
) -> tuple[complex, complex] | None:
    """Return turn with scale, and step, from the slip to the sheet as complex numbers."""
    small = shot.preview(FIND_PX)
    seen, factor = seen_markers(small), shot.cols / small.shape[1]
    known = [(box.corners_mm(), seen[i]) for i, box in strip_markers().items() if i in seen]
    if not known:
        return None
    slip = _plane(np.concatenate([corners for corners, _ in known]))
    pixels = (np.concatenate([corners for _, corners in known]) + 0.5) * factor - 0.5
    there = on_sheet_mm(sheet, pixels, size) @ [1, 1j]
    apart, gone = slip - slip.mean(), there - there.mean()
    turn = (apart.conj() @ gone) / (apart.conj() @ apart)
    step = there.mean() - turn * slip.mean()
    rms = np.sqrt(np.mean(np.abs(turn * slip + step - there) ** 2))
    if rms > MOST_RMS_MM or not SCALES[0] <= abs(turn) <= SCALES[1]:
        return None
    return complex(turn), complex(step)


def _plane(places: Doubles) -> Doubles:
    """Return places on the slip (n, 2), y down, as complex numbers with y up."""
    return np.asarray(places @ np.array([1, -1j]))


def on_sheet_mm(sheet: LaidSheet, pixels: Doubles, size: tuple[float, float]) -> Doubles:
    """Return places of the sheet's plane (n, 2) from its middle, y away, of pixels (x, y)."""
    u, v = unproject(sheet.found, pixels)
    return np.column_stack([(u - 0.5) * size[0], (0.5 - v) * size[1]])


def read_strip(
    shot: Shot, sheet: LaidSheet, size: tuple[float, float], way: tuple[complex, complex]
) -> StripFound | None:
    """Return what is seen of a slip that lies in a known way; None where hardly any foil is.

    Parameters
    ----------
    shot : Shot
    sheet : LaidSheet
    size : (2,) float
        Width and height of the sheet in mm.
    way : (2,) complex
        Turn with scale, and step, from the slip to the sheet: x + iy with y away.
    """
    box, per_cell = foil_place(), round(CELL_MM / CHECK_MM) * PER_CHECK
    step = CHECK_MM / PER_CHECK
    x = box.x_mm + (np.arange(round(box.width_mm / step)) + 0.5) * step
    y = box.y_mm + (np.arange(round(box.height_mm / step)) + 0.5) * step
    across, along = np.meshgrid(x, y)
    there = _to_sheet(np.stack([across, along], axis=-1), way)
    places = _pixels(sheet, there, size)
    inside = ((places > 0) & (places < np.array([shot.rows, shot.cols]) - 1)).all(axis=-1)
    linear, clipped = _picture(shot, places)
    inner = np.abs(across - box.x_mm - box.width_mm / 2) < box.width_mm / 2 - RIM_MM

    def cells(values: NDArray[Any]) -> NDArray[Any]:
        return values.reshape(-1, per_cell * len(x), *values.shape[2:])

    checks = np.stack([(across - box.x_mm) / CHECK_MM, (along - box.y_mm) / CHECK_MM], axis=-1)
    covered = contrast(cells(linear), cells(checks)) < BARE
    seen = np.all(cells(np.asarray(inside)), axis=1) & covered
    if seen.sum() < LEAST_CELLS:
        return None
    kept = inner[:per_cell].ravel()
    side = np.linalg.norm(places[1:, 0] - places[:-1, 0], axis=-1).mean() / step
    ends = np.array([[0, 0], [WIDTH_MM, 0], [WIDTH_MM, LENGTH_MM], [0, LENGTH_MM]])
    middle = cells(there).mean(axis=1)[seen]
    return StripFound(
        _pixels(sheet, _to_sheet(ends, way), size),
        middle[:, 0],
        middle[:, 1],
        cells(places).mean(axis=1)[seen],
        cells(linear)[seen][:, kept],
        cells(clipped)[seen][:, kept],
        float(side**2 * CELL_MM * (box.width_mm - 2 * RIM_MM)),
    )


def contrast(linear: Singles, checks: Doubles) -> Doubles:
    """Return how far printed checks are seen in cells (n, k, 3), 0 to 1, (n,).

    `checks` (n, k, 2) are places in checks. The pattern is looked for half a check off as well,
    for a slip that lies a little otherwise than thought would hide it.
    """
    level, found = linear.mean(axis=-1), np.zeros(len(linear))
    whole = np.maximum(level.mean(axis=1), 1e-3)
    for across in (0.0, 0.5):
        for along in (0.0, 0.5):
            odd = np.floor(checks + np.array([across, along])).sum(axis=-1) % 2
            swing = (level * (odd - odd.mean(axis=1, keepdims=True))).mean(axis=1)
            found = np.maximum(found, 2 * np.abs(swing) / whole)
    return found


def _to_sheet(slip: Doubles, way: tuple[complex, complex]) -> Doubles:
    there = way[0] * _plane(slip) + way[1]
    return np.stack([there.real, there.imag], axis=-1)


def _pixels(sheet: LaidSheet, there: Doubles, size: tuple[float, float]) -> Doubles:
    return project(sheet.found, there[..., 0] / size[0] + 0.5, 0.5 - there[..., 1] / size[1])


def _picture(shot: Shot, places: Doubles) -> tuple[Singles, Booleans]:
    """Return linear light at places of the photograph, and which channels are clipped there."""
    low = np.clip(np.floor(places.min(axis=(0, 1))).astype(int) - 2, 0, None)
    high = np.clip(np.ceil(places.max(axis=(0, 1))).astype(int) + 3, None, [shot.rows, shot.cols])
    if (high - low < 4).any():
        return np.zeros((*places.shape[:2], 3), np.float32), np.zeros((*places.shape[:2], 3), bool)
    part = (slice(low[0], high[0]), slice(low[1], high[1]))
    row, col = ((places[..., i] - low[i]).astype(np.float32) for i in (0, 1))
    light: Any = cv2.remap(shot.linear_part(*part), col, row, cv2.INTER_LINEAR)
    flags = np.ascontiguousarray(shot.clipped_part(*part)).view(np.uint8)
    ended: Any = cv2.remap(flags, col, row, cv2.INTER_NEAREST)
    return light, ended.view(np.bool_)
