"""A frame of the set that is known already, and what it spares the others.

Frames of a set mostly show one sheet in one place. Where its sides are seen again beside
the known ones, surely enough to stop any search, the search is left out; and where the
known foil mask fits the new picture as well as it fitted its own, it is used again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.arrays import Singles, read_only
from lightplan.shots.sheet import previews
from lightplan.shots.sheet.candidates import CERTAIN, in_light, measure, view_of
from lightplan.shots.sheet.corners import SheetFound
from lightplan.shots.sheet.registering import explained_share
from lightplan.shots.sheet.segment import Segmentation

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.sheet.squaring import Squared

_REACH = 0.006  # how far the sides may have moved, of the picture's long side
_LESS_FITTING = 0.05  # how much worse a known mask may fit than in its own frame


@dataclass(frozen=True, eq=False)
class Neighbour:
    """The sheet of another frame.

    Parameters
    ----------
    found : SheetFound
        Corners named as they lie on the artwork.
    segmented : Segmentation
        Its foil, on the sheet's grid.
    agreement : float
        How well that mask explains its own picture (see `registering`).
    key : str
        Which frame it is (see `journal.photograph_key`). Corners and masks by a neighbour
        differ from those found alone, a little: results depend on it.
    """

    found: SheetFound
    segmented: Segmentation
    agreement: float
    key: str

    @classmethod
    def of(
        cls, found: SheetFound, segmented: Segmentation, squared: Squared, *, key: str
    ) -> Neighbour:
        """Return the neighbour that a frame makes for the others."""
        agreement = explained_share(squared.linear, segmented.foil, squared.valid)
        return cls(found, segmented, agreement, key)

    def mask_for(self, squared: Squared) -> Segmentation | None:
        """Return the known mask where it fits another frame; None where it does not."""
        foil, page = self.segmented.foil, self.segmented.page
        shape = squared.valid.shape
        if foil.shape != shape:
            if max(abs(a - b) for a, b in zip(foil.shape, shape, strict=True)) > 0.02 * max(shape):
                return None
            foil = np.asarray(cv2.resize(foil, shape[::-1]), np.float32)
            if page is not None:
                near = cv2.resize(page.view(np.uint8), shape[::-1], interpolation=cv2.INTER_NEAREST)
                page = near > 0
        fits: Singles = np.ascontiguousarray(foil, np.float32)
        if explained_share(squared.linear, fits, squared.valid) < self.agreement - _LESS_FITTING:
            return None
        return Segmentation(fits, self.segmented.confidence, self.segmented.how, page=page)


def find_near(
    picture: NDArray[Any],
    known: SheetFound,
    *,
    width_mm: float,
    height_mm: float,
    focal_px: float | None = None,
    reach: float = _REACH,
    least: float = CERTAIN,
) -> SheetFound | None:
    """Return the sheet if it lies near a known place, within about 0.6 % of the frame.

    Parameters
    ----------
    picture : (rows, cols, 3) uint8
    known : SheetFound
        Of another frame, in any size of picture with the same proportions.
    width_mm, height_mm : float
        The sides as `known` names them.
    focal_px : float or None
        In pixels of `picture`.
    reach : float
        How far off the sides may lie, of the picture's long side.
    least : float
        Confidence from which it is believed.
    """
    shape = (picture.shape[0], picture.shape[1])
    if abs(known.shape[0] * shape[1] / (known.shape[1] * shape[0]) - 1) > 0.01:
        return None  # turned, or another camera
    coded, scale = previews.preview(picture, max(shape))
    view = view_of(coded, scale, width_mm, height_mm, focal_px, None)
    rough = known.scaled(shape).corners[:, ::-1]
    seen = measure(view, rough, max(3.0, reach * max(shape)))
    if seen is None or seen.confidence <= least:
        return None
    corners, bending = in_light(view, seen)
    return SheetFound(
        corners=read_only(corners[:, ::-1]),
        shape=shape,
        confidence=seen.confidence,
        how="sides",
        bending=bending,
        support=tuple(seen.sides.support.tolist()),
    )
