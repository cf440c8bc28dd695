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
DARK_CORNER_Lstar = 15.0
FIGHTS_Lstar = 5.0
RIM_SHARE = 0.02


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
    faults : tuple of str
        In plain words, empty where the frame is clean.
    """

    darkest_corner: float
    longest_edge_share: float
    background_over_foil: float
    faults: tuple[str, ...]


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
        return FrameJudgement(0.0, 0.0, 0.0, ())
    middle = float(np.median(light[ground]))
    corner = middle - _darkest_corner(light, ground, middle)
    edge = _longest_edge(light, ground)
    bright = float(np.quantile(light[on_foil], 0.98)) if on_foil.any() else 100.0
    over = float(np.quantile(light[ground], 0.9)) - bright
    return FrameJudgement(corner, edge, over, _faults(corner, edge, over))


def _faults(corner: float, edge: float, over: float) -> tuple[str, ...]:
    found = []
    if corner > DARK_CORNER_Lstar:
        found.append("a corner of the frame is dark: move what shades it, or crop")
    if edge > LEAST_LINE:
        found.append("an edge runs through the background: a card, its hole or its shadow is seen")
    if over > FIGHTS_Lstar:
        found.append("the background is lighter than the foil: take a darker one")
    return tuple(found)


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
