"""What a photograph shows beside the sheet: it belongs to the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.measures.frame import LONG_SIDE, in_frame, judge_frame

if TYPE_CHECKING:
    from lightplan.arrays import Booleans, Doubles
    from lightplan.shots.sheet.card import CardFound
    from lightplan.shots.sheet.foil_strip import StripFound
    from lightplan.shots.sheet.laid_out import LaidSheet
    from lightplan.shots.shot import Shot

_CARD_MARGIN = 0.05


def frame_measures(
    shot: Shot, sheet: LaidSheet, card: CardFound | None = None, strip: StripFound | None = None
) -> dict[str, tuple[float, float]]:
    """Return the measures of the frame round the sheet; cards with markers are no fault in it.

    Parameters
    ----------
    shot : Shot
    sheet : LaidSheet
        Corners in the shot's pixels, and where foil is.
    card : CardFound or None
        A marker card, in the shot's pixels.
    strip : StripFound or None
        A slip with foil on it, in the shot's pixels.
    """
    factor = 1
    while max(shot.rows, shot.cols) >= 2 * factor * LONG_SIDE:
        factor *= 2
    small = shot.shrunk(factor)
    rows, cols = small.shape[:2]
    linear = shot.transfer.linear(np.ascontiguousarray(small))
    corners = (sheet.found.corners + 0.5) / factor - 0.5
    on_sheet, on_foil = in_frame(corners, (rows, cols), sheet.maps.foil)
    if card is not None:
        on_sheet |= _card(card, (rows, cols), factor)
    if strip is not None:
        middle = strip.outline.mean(axis=0)
        larger = middle + (1 + 2 * _CARD_MARGIN) * (strip.outline - middle)
        on_sheet |= _drawn(larger, (rows, cols), factor)
    return judge_frame(linear, on_sheet, on_foil).measures()


def _card(card: CardFound, shape: tuple[int, int], factor: int) -> Booleans:
    """Return the pixels that show a marker card, and a little round it."""
    wide, high = card.layout.page_mm
    out = _CARD_MARGIN * max(wide, high)
    ends = np.array(
        [[-out, -out], [wide + out, -out], [wide + out, high + out], [-out, high + out]]
    )
    return _drawn(card.in_picture(ends), shape, factor)


def _drawn(corners: Doubles, shape: tuple[int, int], factor: int) -> Booleans:
    """Return the pixels of the small picture within corners (4, 2) in the shot's own."""
    seen = (corners + 0.5) / factor - 0.5
    drawn = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(drawn, np.ascontiguousarray(np.round(seen[:, ::-1]).astype(np.int32)), 1)
    return np.asarray(drawn > 0)
