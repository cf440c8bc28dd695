"""A printed frame that was taken for the sheet's own edge: where the sheet lies if it was.

A frame of foil has the sheet's proportions, straight sides and more contrast than the edge of
dark stock on a dark table.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeAlias

import cv2
import numpy as np

from lightplan.arrays import read_only

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from lightplan.shots.sheet.corners import SheetFound

_STRIP = 0.015  # of the longer side: a frame has foil within so much of its outline
_SOLID = 0.85  # share of each side along which there is
_INSET = 0.005  # of each side: a sheet whose foil runs to its edge has no frame in this sense

Frame: TypeAlias = tuple[float, float, float, float]
SHEET: Frame = (0.0, 1.0, 0.0, 1.0)


def printed_frame(artwork: NDArray[Any]) -> tuple[Frame, ...]:
    """Return a frame's outer and inner outline, in shares of the sheet: left, right, top, bottom.

    Nothing where there is none.

    Parameters
    ----------
    artwork : (rows, cols) float
        Share of foil.
    """
    foil = np.asarray(artwork) > 0.5
    down, across = np.flatnonzero(foil.any(axis=1)), np.flatnonzero(foil.any(axis=0))
    if not len(down) or not len(across):
        return ()
    top, bottom, left, right = down[0], down[-1] + 1, across[0], across[-1] + 1
    inner = foil[top:bottom, left:right]
    strip = max(1, round(_STRIP * max(foil.shape)))
    sides = (inner[:strip], inner[-strip:], inner[:, :strip].T, inner[:, -strip:].T)
    if any(side.any(axis=0).mean() < _SOLID for side in sides):
        return ()
    rows, cols = foil.shape
    frame = (left / cols, right / cols, top / rows, bottom / rows)
    inset = (frame[0], 1 - frame[1], frame[2], 1 - frame[3])
    if min(inset) <= _INSET:
        return ()
    wide = [_width(side) for side in (inner.T, inner.T[::-1], inner, inner[::-1])]
    inside = (left + wide[0], right - wide[1], top + wide[2], bottom - wide[3])
    return frame, tuple(v / n for v, n in zip(inside, (cols, cols, rows, rows), strict=True))


def _width(lines: NDArray[np.bool_]) -> float:
    """Return how wide a frame is whose lines come first, in pixels: the median along it."""
    ends = np.where(lines.all(axis=0), len(lines), (~lines).argmax(axis=0))
    return float(np.median(ends))


def sheet_round(found: SheetFound, sides: Frame) -> SheetFound | None:
    """Return the sheet if four sides that were found are those lines of it; None outside.

    Parameters
    ----------
    found : SheetFound
    sides : (4,) float
        Where its left, right, top and bottom side lie, in shares of the sheet.
    """
    left, right, top, bottom = sides
    whole = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], np.float32)
    seen = np.array([[left, top], [right, top], [right, bottom], [left, bottom]], np.float32)
    picture = cv2.getPerspectiveTransform(seen, found.corners[:, ::-1].astype(np.float32))
    corners = cv2.perspectiveTransform(whole[None], picture)[0][:, ::-1]
    if (corners < -0.5).any() or (corners > np.array(found.shape) - 0.5).any():
        return None
    return replace(found, corners=read_only(corners.astype(float)))


def likeliest_sides(
    outlines: tuple[Frame, ...], agreement: Callable[[Frame], float], enough: float
) -> Frame:
    """Return which line each side is that was found: the sheet's own, or one of the frame's.

    Parameters
    ----------
    outlines : tuple of Frame
        Of the frame; not empty.
    agreement : callable
        How well the artwork fits if the sides are those lines.
    enough : float
        Agreement from which no other is tried.
    """
    lines = (SHEET, *outlines)
    known: dict[Frame, float] = {}

    def fits(sides: Frame) -> float:
        if sides not in known:
            known[sides] = agreement(sides)
        return known[sides]

    best = max(lines, key=fits)
    for _ in range(2):
        for side in range(4):
            if fits(best) >= enough:
                return best
            others = [(*best[:side], line[side], *best[side + 1 :]) for line in lines]
            best = max([best, *others], key=fits)  # type: ignore[arg-type, assignment]
    return best
