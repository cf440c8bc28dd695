"""What surrounds the sheet in the picture: it belongs to the picture, and is judged too.

For pictures of the whole frame, predicted or photographed; the sheet's maps do not show it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.errors import BadInput
from lightplan.measures.levels import luminance
from lightplan.measures.maps import CLIP_LEVEL
from lightplan.optics.colour import lightness

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Booleans, Singles

LONG_SIDE = 240
CORNER_SHARE = 0.12
"""Side of a corner, as a share of the frame's shorter side."""
EDGE_Lstar = 12.0
"""Step of lightness that makes an edge in the background. Our choice."""
LEAST_LINE = 0.25
"""Length of an edge, as a share of the frame's shorter side, from which it draws the eye."""
RIM_SHARE = 0.02
"""Of the frame's longer side: what lies so near to the sheet is its own edge and shadow."""
ERROR_Lstar, ERROR_SHARE = 1.0, 0.02
"""Standard uncertainties, of a picture 240 pixels long. Our guess."""


@dataclass(frozen=True, slots=True)
class FrameJudgement:
    """What the frame round the sheet shows.

    Parameters
    ----------
    darkest_corner : float
        By how much the darkest corner lies below the background's middle. [L*]
    longest_edge_share : float
        Longest line of an edge in the background, of a card or of a hole, over the frame's
        shorter side.
    background_over_foil : float
        By how much the background is lighter than the foil's bright end (98th
        percentile). [L*]
    """

    darkest_corner: float
    longest_edge_share: float
    background_over_foil: float

    def measures(self) -> dict[str, tuple[float, float]]:
        """Return (value, uncertainty) by the names of `docs/measures.md`."""
        return {
            "frame_corner_Lstar": (self.darkest_corner, ERROR_Lstar),
            "frame_edge_share": (self.longest_edge_share, ERROR_SHARE),
            "frame_over_foil_Lstar": (self.background_over_foil, ERROR_Lstar),
        }


def judge_frame(linear: ArrayLike, sheet: ArrayLike, foil: ArrayLike) -> FrameJudgement:
    """Return what surrounds the sheet, and what is wrong with it.

    Parameters
    ----------
    linear : (rows, cols, 3) float
        The whole frame, linear, 1 = clip level.
    sheet : (rows, cols) bool
        Pixels that show the sheet.
    foil : (rows, cols) bool
        Pixels that show foil.
    """
    light, on_sheet, on_foil = _small(linear, sheet, foil)
    away = max(1, round(RIM_SHARE * max(light.shape)))
    near = cv2.dilate(on_sheet.astype(np.uint8), np.ones((2 * away + 1,) * 2, np.uint8)) > 0
    ground = ~near
    if np.count_nonzero(ground) < 0.02 * ground.size:
        return FrameJudgement(0.0, 0.0, 0.0)
    middle = float(np.median(light[ground]))
    corner = middle - _darkest_corner(light, ground, middle)
    edge = _longest_edge(light, ground)
    bright = float(np.quantile(light[on_foil], 0.98)) if on_foil.any() else 100.0
    over = float(np.quantile(light[ground], 0.9)) - bright
    return FrameJudgement(corner, edge, over)


def in_frame(
    corners_px: ArrayLike, picture_shape: tuple[int, int], foil: ArrayLike
) -> tuple[Booleans, Booleans]:
    """Return which pixels of a frame show the sheet, and which show its foil.

    Parameters
    ----------
    corners_px : (4, 2) float
        (row, column) of the sheet's corners, in the order of the map's: far left, far right,
        near right, near left.
    picture_shape : (int, int)
        Rows and columns of the frame that `corners_px` are counted in.
    foil : (rows, cols) float
        Share of foil in each pixel of the squared sheet.
    """
    rows, cols = picture_shape
    share = np.ascontiguousarray(foil, np.float32)
    high, wide = share.shape
    square = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32) - 0.5
    corners = np.asarray(corners_px, np.float32)[:, ::-1]
    turn = cv2.getPerspectiveTransform(square, np.ascontiguousarray(corners))
    whole = np.ones_like(share)
    shown = (cv2.warpPerspective(x, turn, (cols, rows)) for x in (whole, share))
    on_sheet, on_foil = (np.asarray(x > 0.5) for x in shown)
    return on_sheet, on_foil


def _small(
    linear: ArrayLike, sheet: ArrayLike, foil: ArrayLike
) -> tuple[Singles, Booleans, Booleans]:
    """Return lightness and masks of the frame, `LONG_SIDE` long."""
    picture = np.minimum(np.asarray(linear, np.float32), np.float32(CLIP_LEVEL))
    masks = [np.asarray(mask, np.float32) for mask in (sheet, foil)]
    if picture.ndim != 3 or any(mask.shape != picture.shape[:2] for mask in masks):
        raise BadInput(
            field="frame",
            wanted="a picture (rows, cols, 3) and masks (rows, cols)",
            got=f"shape {picture.shape}",
            cure="give the whole frame",
        )
    scale = LONG_SIDE / max(picture.shape[:2])
    size = tuple(max(8, round(n * scale)) for n in picture.shape[1::-1])
    level, on_sheet, on_foil = (
        cv2.resize(np.ascontiguousarray(x), size, interpolation=cv2.INTER_AREA)
        for x in (luminance(picture), *masks)
    )
    light = np.asarray(lightness(np.asarray(level, np.float64)), np.float32)
    return light, np.asarray(on_sheet > 0.01), np.asarray(on_foil > 0.9)


def _darkest_corner(light: Singles, ground: Booleans, middle: float) -> float:
    side = max(2, round(CORNER_SHARE * min(light.shape)))
    boxes = [
        np.s_[a, b]
        for a in (slice(0, side), slice(-side, None))
        for b in (slice(0, side), slice(-side, None))
    ]
    levels = [float(light[box][ground[box]].mean()) for box in boxes if ground[box].any()]
    return min([middle, *levels])


def _longest_edge(light: Singles, ground: Booleans) -> float:
    """Return the longest connected edge in the background over the frame's shorter side.

    An edge is a step of `EDGE_Lstar` within a few pixels; texture of a table is shorter.
    """
    calm = cv2.GaussianBlur(light, (0, 0), 1.2)
    right = cv2.Sobel(calm, cv2.CV_32F, 1, 0, ksize=3) / 8.0
    down = cv2.Sobel(calm, cv2.CV_32F, 0, 1, ksize=3) / 8.0
    inside = cv2.erode(ground.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    # A step blurred by 1.2 pixels rises by a third of itself in one.
    steep = (np.hypot(right, down) > EDGE_Lstar / 3.0) & inside
    count, _, stats, _ = cv2.connectedComponentsWithStats(steep.astype(np.uint8), None)
    if count < 2:
        return 0.0
    spans = np.hypot(stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT])
    longest = float(spans.max())
    return longest / float(min(light.shape))
