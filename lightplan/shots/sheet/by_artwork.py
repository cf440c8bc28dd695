"""The sheet found by its own artwork, where its sides are too faint or a frame looks like them.

Dark stock on a dark table has hardly an edge, and the printed frame inside it has a strong
one of nearly the sheet's proportions. The artwork itself then tells the place: features of
it are matched, and its edges are fitted to the photograph's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np

from lightplan.arrays import Doubles, Integers, read_only
from lightplan.shots.sheet import previews, quads
from lightplan.shots.sheet.artwork_edges import fitted
from lightplan.shots.sheet.corners import SheetFound

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.shots.sheet.previews import Picture

_DRAWN_PX = 800  # long side of the artwork that is matched
_MOST_FEATURES = 2500
_UNLIKE_NEXT = 0.85  # a match must be so much nearer than the next best (Lowe's ratio)
_LEAST_MATCHES = 20  # that agree on one place
_AS_PLANNED_PX = 6.0  # how far they may lie off where the camera is taken to stand as planned
_LEAST_SEEN = 0.5  # share of the artwork's edges that must be seen within a pixel
_MOST_MISFIT = 0.06  # departure from the sheet's shape
_MOST_ERROR = 0.006  # standard error of a corner, of the sheet's shorter side


@dataclass(frozen=True, eq=False)
class Artwork:
    """Artwork as it is looked for in photographs.

    Parameters
    ----------
    drawn : (rows, cols) float
        Share of foil; row 0 is the far edge.
    width_mm, height_mm : float
        Of the sheet.
    """

    drawn: Picture
    width_mm: float
    height_mm: float

    @classmethod
    def of(cls, artwork: NDArray[Any], *, width_mm: float, height_mm: float) -> Artwork:
        """Return artwork (h, w) of a sheet."""
        return cls(_drawn(artwork, width_mm, height_mm), width_mm, height_mm)

    @cached_property
    def features(self) -> list[tuple[Any, Any]]:
        """Features of it where foil is brighter than its stock, and where it is darker."""
        found = []
        for foil in (self.drawn, 1 - self.drawn):
            page = cv2.GaussianBlur((40 + 150 * foil).astype(np.uint8), (0, 0), 0.8)
            found.append(cv2.SIFT.create(_MOST_FEATURES).detectAndCompute(page, None))
        return found


def find_by_artwork(
    picture: NDArray[np.uint8],
    artwork: Artwork,
    *,
    focal_px: float | None = None,
    planned: Doubles | None = None,
    half_lit: bool = False,
) -> SheetFound | None:
    """Return where a sheet lies that carries the artwork; None where that is not clear.

    Foil may be brighter or darker than its stock; mirrored pictures are not found.

    Parameters
    ----------
    picture : (rows, cols, 3) uint8
        About 1500 pixels on its long side.
    artwork : Artwork
    focal_px : float or None
        In pixels of `picture`.
    planned : (4, 2) float or None
        (row, column) of the corners by the plan's camera: how steeply the sheet is seen is
        taken from it where features are too few to tell.
    half_lit : bool
        Much of the foil may be dark though nothing hides it, as holographic foil is: where too
        few of its edges are seen the sheet is taken to be seen as steeply as planned.

    Notes
    -----
    Features: D. Lowe, Distinctive image features from scale-invariant keypoints
    (IJCV 2004). The standard error of the corners comes from the fit of the edges, so
    artwork in the middle of a large sheet is refused where it cannot tell the corners.
    """
    light = previews.in_light(picture)
    grey: Picture = cv2.transform(light, np.full((1, 3), 1 / 3, np.float32))
    # blue foil is hardly brighter than its stock, and holographic foil is of all colours
    most = picture.max(axis=2)
    for plane, seen in (
        (previews.luma(picture), grey),
        (most - picture.min(axis=2), light),
        (most, light),
    ):
        places = _matched(plane, artwork, planned)
        for rough in places:
            found = _found(seen, artwork, rough.corners, focal_px)
            if found is not None:
                return found
        for rough in places:  # too few edges are bright for eight numbers, not for four
            if half_lit and rough.as_planned:
                found = _found(seen, artwork, rough.corners, focal_px, as_steep=True)
                if found is not None:
                    return found
    return None


@dataclass(frozen=True, eq=False)
class _Place:
    """Where features agree that the sheet lies.

    Parameters
    ----------
    corners : (4, 2) float
        As x, y.
    count : int
        How many different places of it agree.
    as_planned : bool
        It is seen as steeply as by the plan's camera.
    """

    corners: Doubles
    count: int
    as_planned: bool


def _found(
    light: Picture,
    artwork: Artwork,
    rough: Doubles,
    focal_px: float | None,
    *,
    as_steep: bool = False,
) -> SheetFound | None:
    """Return the sheet whose artwork's edges lie about where they are taken to lie."""
    shape = (light.shape[0], light.shape[1])
    fit = None
    if _possible(rough, shape):
        fit = fitted(light, artwork.drawn, rough, as_steep=as_steep)
    if fit is None:
        return None
    corners, seen, error_px = fit
    size = {"width_mm": artwork.width_mm, "height_mm": artwork.height_mm}
    misfit = float(quads.shape_misfit(corners[None], shape, focal_px=focal_px, **size)[0])
    short = float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).min())
    if seen < _LEAST_SEEN or misfit > _MOST_MISFIT or error_px > _MOST_ERROR * short:
        return None
    if not _possible(corners, shape):
        return None
    return SheetFound(read_only(corners[:, ::-1]), shape, seen, "artwork")


def _drawn(artwork: NDArray[Any], width_mm: float, height_mm: float) -> Picture:
    scale = _DRAWN_PX / max(width_mm, height_mm)
    size = (max(16, round(width_mm * scale)), max(16, round(height_mm * scale)))
    source = np.ascontiguousarray(artwork, np.float32)
    how = cv2.INTER_AREA if source.shape[0] > size[1] else cv2.INTER_LINEAR
    small: Picture = cv2.resize(source, size, interpolation=how)
    return np.clip(small, 0, 1)


def _matched(plane: NDArray[np.uint8], artwork: Artwork, planned: Doubles | None) -> list[_Place]:
    """Return places on which most features agree, brighter or darker foil.

    By any projection, then by that of the plan's camera, shifted, turned and scaled.
    """
    grey = cv2.createCLAHE(4.0, (6, 6)).apply(plane)
    detector = cv2.SIFT.create(_MOST_FEATURES)
    there, told = detector.detectAndCompute(grey, None)
    best: list[_Place] = []
    for here, asked in artwork.features:
        if told is None or asked is None or min(len(told), len(asked)) < _LEAST_MATCHES:
            continue
        good, nearest = alike(asked, told)
        if len(good) < _LEAST_MATCHES:
            continue
        page_px = np.array([here[one].pt for one in good])
        photo_px = np.array([there[one].pt for one in nearest])
        agreed = [_agreed(page_px, photo_px, artwork.drawn.shape)]
        if planned is not None:
            agreed.append(_agreed_as_planned(page_px, photo_px, artwork.drawn.shape, planned))
        known = [place for place in agreed if place is not None]
        if max((p.count for p in known), default=0) > max((p.count for p in best), default=0):
            best = known
    return [place for place in best if place.count >= _LEAST_MATCHES]


def alike(asked: Picture, told: Picture) -> tuple[Integers, Integers]:
    """Return features of `asked`, and of `told` those that they clearly are nearest to.

    SIFT's numbers are whole and at most 255, so that all sums stay exact in single precision:
    this is OpenCV's `knnMatch` to the last bit, in a third of its time.
    """
    squares = (asked**2).sum(axis=1)[:, None] + (told**2).sum(axis=1) - 2 * (asked @ told.T)
    each = np.arange(len(asked))
    nearest = squares.argmin(axis=1)
    distance = np.sqrt(squares[each, nearest])
    squares[each, nearest] = np.inf
    good = distance < _UNLIKE_NEXT * np.sqrt(squares.min(axis=1))
    return each[good], nearest[good]


def _agreed(page_px: Doubles, photo_px: Doubles, shape: tuple[int, ...]) -> _Place | None:
    """Return the place that most matches mean."""
    plane: Any
    plane, inside = cv2.findHomography(page_px, photo_px, cv2.RANSAC, 4.0, maxIters=5000)
    if plane is None:
        return None
    ends = cv2.perspectiveTransform(_ends(shape)[None], plane)[0]
    return _Place(ends.astype(np.float64), _apart(page_px, photo_px, inside), as_planned=False)


def _agreed_as_planned(
    page_px: Doubles, photo_px: Doubles, shape: tuple[int, ...], planned: Doubles
) -> _Place | None:
    """Return the same where the sheet is seen as steeply as planned."""
    steep = cv2.getPerspectiveTransform(
        _ends(shape).astype(np.float32), planned[:, ::-1].astype(np.float32)
    )
    flat = cv2.perspectiveTransform(page_px[None].astype(np.float64), steep)[0]
    moved: Any
    moved, inside = cv2.estimateAffinePartial2D(
        flat, photo_px, ransacReprojThreshold=_AS_PLANNED_PX, maxIters=5000
    )
    if moved is None:
        return None
    corners = planned[:, ::-1] @ moved[:, :2].T + moved[:, 2]
    return _Place(corners, _apart(page_px, photo_px, inside), as_planned=True)


def _ends(shape: tuple[int, ...]) -> Doubles:
    """Return the corners (4, 2) of a page of so many rows and columns, as x, y."""
    rows, cols = shape
    return np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], float) - 0.5


def _apart(page_px: Doubles, photo_px: Doubles, inside: NDArray[Any]) -> int:
    """Return how many different places agree.

    Many features of the page on one of the photograph agree on anything.
    """
    held = inside.ravel() > 0
    return min(len(np.unique(np.rint(side[held] / 4), axis=0)) for side in (page_px, photo_px))


def _possible(corners: Doubles, shape: tuple[int, int]) -> bool:
    """Say whether corners lie in the picture, clockwise, and bound more than a speck."""
    if not np.isfinite(corners).all():
        return False
    edge: Doubles = np.roll(corners, -1, axis=0) - corners
    following: Doubles = np.roll(edge, -1, axis=0)
    turn = edge[:, 0] * following[:, 1] - edge[:, 1] * following[:, 0]
    inside = (corners > -1).all() and (corners < np.array(shape[::-1])).all()
    large = float(quads.area(corners[None])[0]) > 0.005 * shape[0] * shape[1]
    return bool((turn > 0).all() and inside and large)
