"""The sheet's corners in a photograph, found without markers, or an honest refusal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal, TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from lightplan.arrays import Doubles, read_only
from lightplan.errors import PhotoError
from lightplan.shots import lines, previews, quads
from lightplan.shots.card import CardFound
from lightplan.shots.edges import Sides, fit_sides
from lightplan.shots.outline import fit_outline, straighten
from lightplan.shots.previews import Coded

_COARSE_PX = 640  # long side of the copy in which the sheet is looked for
_FINE_PX = 1500  # and of the one in which its corners are measured
_CERTAIN = 0.9  # confidence at which nothing more is tried
_ENOUGH = 0.6  # least confidence that is reported as found

How: TypeAlias = Literal["sides", "marker card", "by hand"]


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
        "sides", "marker card" or "by hand".
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


@dataclass(frozen=True, eq=False)
class _Candidate:
    corners: Doubles  # (4, 2) x, y in the coarse copy
    sides: Sides
    bending: float
    misfit: float
    share: float  # of the frame that it fills
    quality: Doubles  # (4,) of each side, 0 to 1
    confidence: float


def find_sheet(
    picture: NDArray[Any], *, width_mm: float, height_mm: float, focal_px: float | None = None,
    card: CardFound | None = None,
) -> SheetFound | SheetNotFound:  # fmt: skip
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
    coarse, scale = previews.preview(picture, _COARSE_PX)
    if float(cv2.meanStdDev(coarse)[1].max()) < 1.0:
        return SheetNotFound("The picture is blank: it has no edges at all.")
    view = _view(coarse, scale, width_mm, height_mm, focal_px, card)
    likely = _search(view)
    if not likely:
        return _refusal(None)
    fine, fine_scale = previews.preview(picture, _FINE_PX)
    larger = _view(fine, fine_scale, width_mm, height_mm, focal_px, card)
    return _refine(picture.shape[:2], likely, view, larger)


@dataclass(frozen=True, eq=False)
class _View:
    """A copy of the picture and what the sheet must look like in it."""

    coded: Coded
    scale: float  # pixels of the copy per pixel of the picture
    width_mm: float
    height_mm: float
    focal_px: float | None
    plane: Doubles | None  # from millimetres on the table to (x, y) of the copy

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the copy."""
        return self.coded.shape[0], self.coded.shape[1]

    def misfit(self, corners: Doubles) -> Doubles:
        """Return how far quads (n, 4, 2) are from the sheet's shape."""
        size = {"width_mm": self.width_mm, "height_mm": self.height_mm}
        if self.plane is not None:
            return quads.plane_misfit(corners, self.plane, **size)
        return quads.shape_misfit(corners, self.shape, focal_px=self.focal_px, **size)


def _view(
    coded: Coded, scale: float, width_mm: float, height_mm: float, focal_px: float | None,
    card: CardFound | None,
) -> _View:  # fmt: skip
    plane = None
    if card is not None:
        half = 0.5 * scale - 0.5  # centres of pixels are whole numbers in both
        plane = np.array([[scale, 0, half], [0, scale, half], [0, 0, 1.0]]) @ card.plane
    focal = None if focal_px is None else focal_px * scale
    return _View(coded, scale, width_mm, height_mm, focal, plane)


def _search(view: _View) -> list[_Candidate]:
    """Return the candidates worth a closer look, one if it is certain."""
    best: _Candidate | None = None
    tried: list[_Candidate] = []
    for faint in (False, True):
        for corners in _propose(view, faint):
            if _settled(best) and best is not None and not _around(corners, best.corners):
                continue
            candidate = _measure(view, corners, 3.0)
            if candidate is not None:
                best = _preferred(candidate, best)
                tried.append(candidate)
        if _settled(best) and best is not None:
            return [best]
    tried += _beside(view, tried)
    kept: list[_Candidate] = []
    for one in sorted(tried, key=_doubt):
        if len(kept) < 4 and all(np.abs(one.corners - k.corners).max() > 3 for k in kept):
            kept.append(one)
    return kept


def _settled(best: _Candidate | None) -> bool:
    return best is not None and best.confidence > _CERTAIN and float(best.quality.min()) > 0.8


def _beside(view: _View, tried: list[_Candidate]) -> list[_Candidate]:
    """Try outlines that candidates suggest: theirs again, round a frame, one side moved."""
    frames = [one for one in tried if np.sort(one.sides.thinness)[1] > 0.9 and one.misfit < 0.1]
    frames = sorted(frames, key=_smallness)[:3]
    partial = sorted(tried, key=lambda one: -float(np.sort(one.quality)[1]))[:5]
    rough = [_grown(one.corners, view) for one in frames]
    rough += [_one_side_moved(one, view) for one in partial]
    rough += [np.array([one.corners for one in sorted(tried, key=_doubt)[:4]])]
    found: list[_Candidate] = []
    for corners in np.concatenate([r for r in rough if len(r)]) if tried else ():
        candidate = _measure(view, corners, 3.0)
        if candidate is not None and candidate.confidence > 0.5 * _ENOUGH:
            again = _measure(view, candidate.corners, 2.0)
            found += [candidate] if again is None else [candidate, again]
    return found


def _smallness(one: _Candidate) -> float:
    return -float(one.sides.support.mean() ** 2 * np.sqrt(quads.area(one.corners[None])[0]))


def _doubt(one: _Candidate) -> float:
    return -one.confidence


def _one_side_moved(one: _Candidate, view: _View) -> Doubles:
    """Return outlines (n, 4, 2) whose worst side lies where the sheet's shape wants it."""
    worst = int(np.argmin(one.quality))
    start, stop = worst, (worst + 1) % 4
    before, after = (worst - 1) % 4, (worst + 2) % 4
    share = np.linspace(0.6, 1.7, 111)[:, None]
    moved = np.repeat(one.corners[None], len(share), axis=0)
    moved[:, start] = one.corners[before] + share * (one.corners[start] - one.corners[before])
    moved[:, stop] = one.corners[after] + share * (one.corners[stop] - one.corners[after])
    fit = view.misfit(moved)
    best = int(np.argmin(fit))
    if fit[best] > 0.05:
        return np.empty((0, 4, 2))
    near = np.clip(best + np.array([-2, 0, 2]), 0, len(fit) - 1)
    return np.asarray(moved[near])


def _grown(corners: Doubles, view: _View) -> Doubles:
    """Return outlines (n, 4, 2) of which `corners` could be a printed frame, evenly inset."""
    plane = quads.square_to_quad(corners[None])[0]
    short = min(view.width_mm, view.height_mm)
    inset = np.arange(0.03, 0.16, 0.01)[:, None] * short
    across, along = (inset / (size - 2 * inset) for size in (view.width_mm, view.height_mm))
    signs = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    square = (signs + 1) / 2 + signs * np.stack([across, along], axis=-1)
    seen = np.concatenate([square, np.ones((*square.shape[:2], 1))], axis=-1) @ plane.T
    outlines: Doubles = seen[..., :2] / seen[..., 2:]
    return outlines


def _propose(view: _View, faint: bool) -> Doubles:
    """Return rough corners (n, 4, 2), the likeliest first."""
    grey = previews.amplified(view.coded) if faint else [previews.luma(view.coded)]
    segments = lines.find_segments(grey)
    if not len(segments):
        return np.empty((0, 4, 2))
    joined = lines.join_segments(segments, lines.step_across(view.coded, segments), view.shape)
    return quads.propose(joined, view.shape, view.misfit).corners


def _around(outer: Doubles, inner: Doubles) -> bool:
    """Say whether a quad encloses another that is not the same."""
    edge = np.roll(outer, -1, axis=0) - outer
    to = inner[:, None] - outer
    depth = (edge[:, 0] * to[..., 1] - edge[:, 1] * to[..., 0]) / np.linalg.norm(edge, axis=1)
    return bool(depth.min() > -2.0 and depth.min(axis=0).max() > 3.0)


def _preferred(new: _Candidate, old: _Candidate | None) -> _Candidate:
    """Return the surer one, but the outer of two that enclose each other.

    A frame of foil has nearly the sheet's proportions and a stronger edge.
    """
    if old is None:
        return new
    if _around(new.corners, old.corners):
        better = new.confidence > max(_ENOUGH, _discount(old) * old.confidence)
    elif _around(old.corners, new.corners):
        better = _discount(new) * new.confidence > max(_ENOUGH, old.confidence)
    else:
        better = new.confidence > old.confidence
    return new if better else old


def _discount(inner: _Candidate) -> float:
    """Return how little the inner of two outlines is trusted: lines less than steps."""
    return 0.6 if np.sort(inner.sides.thinness)[1] > 0.8 else 0.93


def _measure(view: _View, corners: Doubles, reach_px: float) -> _Candidate | None:
    """Fit the four sides beside a rough outline; None where they do not hold together."""
    sides = fit_sides(view.coded, corners, reach_px=reach_px)
    if min(len(points) for points in sides.points) < 10:
        return None
    fitted, bending = fit_outline(sides.points, view.shape)
    if not np.isfinite(fitted).all() or np.abs(fitted - corners).max() > 4 * reach_px + 8:
        return None
    misfit = float(view.misfit(straighten(fitted, bending, view.shape)[None])[0])
    quality = _quality(sides, max(view.shape) / _COARSE_PX)
    share = float(quads.area(fitted[None])[0] / (view.shape[0] * view.shape[1]))
    return _judged(_Candidate(fitted, sides, bending, misfit, share, quality, 0.0), quality)


def _judged(one: _Candidate, quality: Doubles) -> _Candidate:
    """Return a candidate with its confidence for these qualities of its sides."""
    confidence = (
        (0.6 * quality.mean() + 0.4 * quality.min())
        * np.exp(-0.5 * (one.misfit / 0.025) ** 2)
        * (0.6 + 0.4 * _ramp(np.array(one.share), 0.01, 0.06))  # few photograph one so small
    )
    return replace(one, quality=quality, confidence=float(confidence))


def _quality(sides: Sides, ratio: float) -> Doubles:
    """Return how surely each side is the edge of a sheet, 0 to 1.

    The ramps were set on rendered photographs: of true sheets and of the frames, shadows
    and table grain mistaken for them.
    """
    seen = _ramp(sides.support, 0.35, 0.85)
    clear = _ramp(sides.step, 0.5, 4.0)
    sharp = 1 - 0.7 * _ramp(sides.spread_px / ratio, 0.3, 0.9)
    solid = 1 - 0.8 * _ramp(sides.thinness, 0.6, 0.9)
    same = 0.3 + 0.7 * _ramp(sides.coherence, 0.2, 0.6)
    ended = 0.7 + 0.15 * (sides.ended >= 0.5).sum(axis=1)
    stops = 1 - 0.15 * (sides.beyond > 0.6).sum(axis=1)
    return np.asarray(seen * clear * sharp * solid * same * ended * stops)


def _ramp(value: Doubles, low: float, high: float) -> Doubles:
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def _refine(
    shape: tuple[int, int], likely: list[_Candidate], view: _View, larger: _View
) -> SheetFound | SheetNotFound:
    """Measure the sides again in a larger copy, where what looked alike comes apart."""
    ratio = larger.scale / view.scale
    best: _Candidate | None = None
    for rough in likely:
        found = _measure(larger, (rough.corners + 0.5) * ratio - 0.5, ratio + 1)
        if found is not None:
            best = _preferred(_both(rough, found, ratio), best)
    if best is None or best.confidence < _ENOUGH:
        return _refusal(best if best is not None else likely[0])
    place = (best.corners + 0.5) / larger.scale - 0.5
    return SheetFound(
        corners=read_only(place[:, ::-1]),
        shape=(shape[0], shape[1]),
        confidence=best.confidence,
        how="sides" if view.plane is None else "marker card",
        bending=best.bending,
        support=tuple(best.sides.support.tolist()),
    )


def _both(rough: _Candidate, fine: _Candidate, ratio: float) -> _Candidate:
    """Return the finer candidate, judged in both copies.

    A printed line is thin in the smaller copy only, a shadow apart from the edge in the
    larger one only.
    """
    moved = float(np.abs((fine.corners + 0.5) / ratio - 0.5 - rough.corners).max())
    solid = 1 - 0.8 * _ramp(rough.sides.thinness, 0.6, 0.9)
    quality = (
        np.maximum(fine.quality, 0.5 * (fine.quality + rough.quality))
        if moved < 2
        else fine.quality
    )
    return _judged(fine, np.minimum(quality, solid))


def _refusal(best: _Candidate | None) -> SheetNotFound:
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
        field="corners", wanted="four corners (row, column), clockwise from the far left one",
        got=np.asarray(corners).tolist(), cure="read them off the picture again",
    )  # fmt: skip
