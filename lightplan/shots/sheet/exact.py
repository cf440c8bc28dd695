"""Clipped shares of lossless files, counted pixel by pixel in the photograph itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.shots.sheet.squaring import unproject, window

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from lightplan.arrays import Booleans, Doubles, Singles
    from lightplan.shots.sheet.corners import SheetFound
    from lightplan.shots.shot import Shot

_FOIL_FROM, _PAPER_BELOW = 0.5, 0.02
_CHANNELS = ("red", "green", "blue")
_KINDS = (*(f"clipped_{one}_share" for one in (*_CHANNELS, "all")), "clipped_share")
SHEET_MEASURES = tuple(f"sheet_{kind}" for kind in _KINDS)
_STRIP_ROWS = 256  # so that a large picture is not held in coordinates all at once
_UNDECIDED = 0.04  # beside a limit, where the quick look-up (to 1/32 pixel) is done exactly


def clipped_shares(
    shot: Shot, found: SheetFound, foil: Singles, valid: Booleans, *, confidence: float
) -> dict[str, tuple[float, float]]:
    """Return the clipped shares of sheet, foil and paper over the pixels of the file.

    The squared sheet samples the photograph; a share counted there is an estimate. Here
    pixels of the photograph are counted, each once and alike, whatever the perspective:
    those whose middle lies between the sheet's sides, and of them those where the foil
    mask, read between its own pixels' middles, is half or more (foil) or next to nothing
    (paper). What is left uncertain is where corners and mask lie, nothing else.

    Parameters
    ----------
    shot : Shot
        At its full size (`reduction` 1).
    found : SheetFound
        Corners in pixels of `shot.encoded`, turned as the mask lies.
    foil, valid : (rows, cols)
        On the sheet's grid; where `valid` is False a pixel is neither foil nor paper.
    confidence : float
        Of the mask, 0 to 1.
    """
    counts = {name: np.zeros(len(_KINDS) + 1, np.int64) for name in ("sheet", "foil", "paper")}
    for rows, cols in _strips(found):
        clipped = shot.clipped_part(rows, cols)
        for name, region in _regions(found, rows, cols, foil, valid).items():
            counts[name] += _counted(clipped[region])
    told: dict[str, tuple[float, float]] = {}
    for name, (total, *some) in counts.items():
        sure = found.confidence if name == "sheet" else confidence
        for kind, count in zip(_KINDS, some, strict=True):
            if total:
                value = int(count) / int(total)
                told[f"{name}_{kind}"] = (value, math.hypot(0.5 / total, (1.0 - sure) * value))
    return told


def _strips(found: SheetFound) -> Iterator[tuple[slice, slice]]:
    rows, cols = window(found, margin=0.0)
    for start in range(rows.start, rows.stop, _STRIP_ROWS):
        yield slice(start, min(start + _STRIP_ROWS, rows.stop)), cols


def _counted(clipped: Booleans) -> NDArray[np.int64]:
    """Return pixels (n, 3) counted: all of them, then in the order of `_KINDS`."""
    channels = [int(np.count_nonzero(clipped[:, i])) for i in range(3)]
    ended = np.count_nonzero(clipped, axis=1)
    return np.array([len(clipped), *channels, int((ended == 3).sum()), int((ended > 0).sum())])


def _regions(
    found: SheetFound, rows: slice, cols: slice, foil: Singles, valid: Booleans
) -> dict[str, Booleans]:
    """Return which pixels of a window are sheet, foil and paper, (n, m) each."""
    across, down = _sheet_places(found, rows, cols)
    height, width = foil.shape
    inside = (across >= 0) & (across < 1) & (down >= 0) & (down < 1)
    x, y = across * width - 0.5, down * height - 0.5
    share = cv2.remap(
        np.ascontiguousarray(foil, np.float32),
        x.astype(np.float32),
        y.astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ).astype(np.float64)
    open_ = np.abs(share - _FOIL_FROM) < _UNDECIDED
    open_ |= (share > 0) & (share < _PAPER_BELOW + _UNDECIDED)
    open_ &= inside
    share[open_] = _between(foil, x[open_], y[open_])
    cell = np.clip(down * height, 0, height - 1), np.clip(across * width, 0, width - 1)
    shown = inside & valid[cell[0].astype(np.intp), cell[1].astype(np.intp)]
    return {
        "sheet": inside,
        "foil": shown & (share >= _FOIL_FROM),
        "paper": shown & (share < _PAPER_BELOW),
    }


def _between(picture: Singles, x: Doubles, y: Doubles) -> Doubles:
    """Return a picture's values at places, linear between pixels, to a double's last digits."""
    rows, cols = picture.shape
    x, y = np.clip(x, 0, cols - 1), np.clip(y, 0, rows - 1)
    left, above = x.astype(np.intp), y.astype(np.intp)
    right, below = np.minimum(left + 1, cols - 1), np.minimum(above + 1, rows - 1)
    across, down = x - left, y - above
    upper = picture[above, left] * (1 - across) + picture[above, right] * across
    lower = picture[below, left] * (1 - across) + picture[below, right] * across
    return np.asarray(upper * (1 - down) + lower * down)


def _sheet_places(found: SheetFound, rows: slice, cols: slice) -> tuple[Doubles, Doubles]:
    """Return where on the sheet pixels of a window lie: shares of its width and height."""
    y, x = np.mgrid[rows, cols].astype(np.float64)
    return unproject(found, np.stack([x, y], axis=-1))
