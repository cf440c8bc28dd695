"""The sheet's corners in a photograph, found without markers, or an honest refusal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import cv2
import numpy as np

from lightplan.arrays import Doubles, read_only
from lightplan.errors import PhotoError
from lightplan.shots.sheet import previews, quads
from lightplan.shots.sheet.candidates import (
    CERTAIN,
    COARSE_PX,
    ENOUGH,
    Candidate,
    OutlineView,
    in_light,
    judged,
    measure,
    preferred,
    ramp,
    view_of,
)
from lightplan.shots.sheet.outline_search import cut_by_frame, search

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.sheet.card import CardFound

_FINE_PX = 1500  # and of the one in which its corners are measured
LINE = 0.5
"""Thinness from which a side is looked for farther out; edges of sheets seldom have a tenth."""
MARGIN_STEPS, MARGIN_STEP_SHARE = 8, 0.012
"""How far out: to a tenth of the sheet, in steps of so much of it."""

How: TypeAlias = Literal["sides", "marker card", "artwork", "by hand"]


@dataclass(frozen=True, eq=False)
class SheetFound:
    """The sheet's corners.

    Parameters
    ----------
    corners : (4, 2) float
        (row, column) of the far left, far right, near right and near left corner, as
        the sheet lies in the picture; centres of pixels are whole numbers.
    shape : (2,) int
        Rows and columns of the picture they refer to.
    confidence : float
        0 to 1: how sure it is that these are the sheet's corners.
    how : str
        "sides", "marker card", "artwork" or "by hand".
    bending : float
        Lens distortion (see `outline.straighten`).
    support : (4,) float
        Share of the far, right, near and left side on which an edge was seen.
    """

    corners: Doubles
    shape: tuple[int, int]
    confidence: float
    how: How
    bending: float = 0.0
    support: tuple[float, float, float, float] = (1.0, 1.0, 1.0, 1.0)

    def __bool__(self) -> bool:
        return True

    def scaled(self, shape: tuple[int, int]) -> SheetFound:
        """Return the same corners in another size of the same picture."""
        factor = np.array(shape) / np.array(self.shape)
        return replace(self, corners=read_only((self.corners + 0.5) * factor - 0.5), shape=shape)

    def turned(self, quarters: int) -> SheetFound:
        """Return the sheet named from another corner: turned by quarter turns."""
        return replace(
            self,
            corners=read_only(np.roll(self.corners, -quarters, axis=0)),
            support=tuple(np.roll(self.support, -quarters).tolist()),
        )


@dataclass(frozen=True)
class SheetNotFound:
    """No sheet; false, and says why.

    Parameters
    ----------
    reason : str
        One sentence for the maker.
    best : float
        Confidence of the best candidate, 0 when there was none.
    """

    reason: str
    best: float = 0.0

    def __bool__(self) -> bool:
        return False


def find_sheet(
    picture: NDArray[Any],
    *,
    width_mm: float,
    height_mm: float,
    focal_px: float | None = None,
    card: CardFound | None = None,
) -> SheetFound | SheetNotFound:
    """Find the corners of a flat sheet of known size.

    Parameters
    ----------
    picture : (rows, cols, 3) uint8 (coded) or float (linear, 1 = clip level)
        About 1500 pixels on its long side are enough for 0.5 % of the sheet's width.
    width_mm, height_mm : float
        The sheet's sides. Which corner is the far left one is taken from the picture:
        the sheet is assumed to stand as nearly upright as its proportions allow.
    focal_px : float or None
        Focal length in pixels of `picture`, when the file tells it.
    card : CardFound or None
        A marker card that lies in the sheet's plane, found in the same picture.

    Returns
    -------
    SheetFound or SheetNotFound
        The latter is false in a condition.
    """
    coarse, scale = previews.preview(picture, COARSE_PX)
    if float(cv2.meanStdDev(coarse)[1].max()) < 1.0:
        return SheetNotFound("The picture is blank: it has no edges at all.")
    view = view_of(coarse, scale, width_mm, height_mm, focal_px, card)
    likely = search(view)
    if not likely:
        return _refusal(view, None)
    fine, fine_scale = previews.preview(picture, _FINE_PX)
    larger = view_of(fine, fine_scale, width_mm, height_mm, focal_px, card)
    return _refine(picture.shape[:2], likely, view, larger)


def _refine(
    shape: tuple[int, int], likely: list[Candidate], view: OutlineView, larger: OutlineView
) -> SheetFound | SheetNotFound:
    """Measure the sides again in a larger copy, where what looked alike comes apart."""
    ratio = larger.scale / view.scale
    best: Candidate | None = None
    for rough in likely:
        found = measure(larger, (rough.corners + 0.5) * ratio - 0.5, ratio + 1)
        if found is None:
            continue
        best = preferred(_both(rough, found, ratio), best)
        # Measured again from nearby, where a faint side is less often lost to its neighbours.
        again = measure(larger, found.corners, 2.0) if found.confidence < CERTAIN else None
        if again is not None:
            best = preferred(_both(rough, again, ratio), best)
    if best is not None:
        best = _past_lines(larger, best)
    if best is None or best.confidence < ENOUGH:
        return _refusal(view, best if best is not None else likely[0])
    corners, bending = in_light(larger, best)
    place = (corners + 0.5) / larger.scale - 0.5
    return SheetFound(
        corners=read_only(place[:, ::-1]),
        shape=(shape[0], shape[1]),
        confidence=best.confidence,
        how="sides" if view.plane is None else "marker card",
        bending=bending,
        support=tuple(best.sides.support.tolist()),
    )


def _past_lines(view: OutlineView, best: Candidate) -> Candidate:
    """Return the outline whose sides are steps where some of this one's are thin lines.

    A frame of foil close to the sheet's edge outshines it: one or two of its lines are taken for
    the edge, which lies a little farther out.
    """
    are_lines = best.sides.thinness > LINE
    if not are_lines.any():
        return best
    across = np.sqrt(best.share * view.shape[0] * view.shape[1])
    inner = best.corners
    for number in range(MARGIN_STEPS):
        away = (number + 1) * MARGIN_STEP_SHARE * across
        found = measure(
            view, quads.widened(inner, away * are_lines), 0.6 * MARGIN_STEP_SHARE * across + 1.0
        )
        if found is not None and not (found.sides.thinness > LINE).any():
            best = preferred(found, best)
    return best


def _both(rough: Candidate, fine: Candidate, ratio: float) -> Candidate:
    """Return the finer candidate, judged in both copies.

    A printed line is thin in the smaller copy only, a shadow apart from the edge in the
    larger one only.
    """
    moved = float(np.abs((fine.corners + 0.5) / ratio - 0.5 - rough.corners).max())
    thin = np.minimum(rough.sides.thinness, rough.sides.thinness_deep)
    solid = 1 - 0.8 * ramp(thin, 0.6, 0.9)
    quality = (
        np.maximum(fine.quality, 0.5 * (fine.quality + rough.quality))
        if moved < 2
        else fine.quality
    )
    return judged(fine, np.minimum(quality, solid))


def _refusal(view: OutlineView, best: Candidate | None) -> SheetNotFound:
    if cut_by_frame(view):
        return SheetNotFound(
            "A sheet seems to be cut off by the frame; photograph it again with all four "
            "corners in the picture.",
            0.0 if best is None else best.confidence,
        )
    if best is None:
        return SheetNotFound(
            "No four straight edges with the sheet's proportions were found; show the whole "
            "sheet on a table of another brightness, or give the corners by hand."
        )
    return SheetNotFound(
        "Edges with about the sheet's proportions were found, but not clearly enough to be "
        "trusted; lay the sheet on a plain table of another brightness, or give the corners "
        "by hand.",
        best.confidence,
    )


def corners_by_hand(corners: Doubles, shape: tuple[int, int]) -> SheetFound:
    """Return the sheet from corners that the maker read off the picture.

    Raises
    ------
    PhotoError
        If they are not four corners of a convex outline, clockwise in the picture.
    """
    points = np.asarray(corners, float)
    if points.shape == (4, 2) and np.isfinite(points).all():
        edge = np.roll(points, -1, axis=0) - points
        following = np.roll(edge, -1, axis=0)
        turn = edge[:, 1] * following[:, 0] - edge[:, 0] * following[:, 1]
        if (turn > 0).all():
            return SheetFound(read_only(points), shape, 1.0, "by hand")
    raise PhotoError(
        field="corners",
        wanted="four corners (row, column), clockwise from the far left one",
        got=np.asarray(corners).tolist(),
        cure="read them off the picture again",
    )
