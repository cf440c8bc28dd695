"""What a photograph shows beside the sheet: it belongs to the picture."""

from __future__ import annotations

from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.measures.frame import LONG_SIDE, in_frame, judge_frame

if TYPE_CHECKING:
    from lightplan.arrays import Booleans
    from lightplan.shots.sheet.card import CardFound
    from lightplan.shots.sheet.maps import LaidSheet
    from lightplan.shots.shot import Shot

_CARD_MARGIN = 0.05


def frame_measures(
    shot: Shot, sheet: LaidSheet, card: CardFound | None = None
) -> dict[str, tuple[float, float]]:
    """Return the measures of the frame round the sheet; a marker card in it is no fault.

    Parameters
    ----------
    shot : Shot
    sheet : LaidSheet
        Corners in the shot's pixels, and where foil is.
    card : CardFound or None
        A marker card, in the shot's pixels.
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
    return judge_frame(linear, on_sheet, on_foil).measures()


def _card(card: CardFound, shape: tuple[int, int], factor: int) -> Booleans:
    """Return the pixels that show a marker card, and a little round it."""
    wide, high = card.layout.page_mm
    out = _CARD_MARGIN * max(wide, high)
    ends = np.array(
        [[-out, -out], [wide + out, -out], [wide + out, high + out], [-out, high + out]]
    )
    seen = (card.in_picture(ends) + 0.5) / factor - 0.5
    drawn = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(drawn, np.ascontiguousarray(np.round(seen[:, ::-1]).astype(np.int32)), 1)
    return np.asarray(drawn > 0)
