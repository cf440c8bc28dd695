"""The marker card: its layout, and finding it in a photograph.

The card lies under or beside the sheet. Its four markers tell the table's plane, so the
sheet's edges have to be found in three unknowns instead of eight, and its grey patches
tell the light's colour and whether it drifted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import cv2
import numpy as np

from lightplan.arrays import Doubles, Singles, read_only
from lightplan.shots.sheet.edges import fit_sides
from lightplan.shots.sheet.previews import Picture, in_light, luma

if TYPE_CHECKING:
    from numpy.typing import NDArray

Paper: TypeAlias = Literal["A4", "Letter"]

PAGES_MM: dict[Paper, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of the page: ISO 216, and ANSI/ASME Y14.1 size A."""

MARGIN_MM, MARKER_MM, GAP_MM = 8.0, 20.0, 4.0
PATCH_LIGHTNESS = (95.0, 80.0, 65.0, 50.0, 35.0, 20.0)
"""CIE L* that the patches have where the printer is true to sRGB; most are only near it."""
PANEL_LIGHTNESS = 50.0
_FIRST_ID: dict[Paper, int] = {"A4": 40, "Letter": 44}  # the numbers tell the page size
_DICTIONARY = cv2.aruco.DICT_APRILTAG_36h11


@dataclass(frozen=True)
class Box:
    """A rectangle on the card.

    Parameters
    ----------
    x_mm, y_mm : float
        Upper left corner from the page's upper left corner; y runs down.
    width_mm, height_mm : float
    """

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def corners_mm(self) -> Doubles:
        """Return the corners (4, 2) clockwise from the upper left one."""
        x, y, w, h = self.x_mm, self.y_mm, self.width_mm, self.height_mm
        return np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]])


@dataclass(frozen=True)
class CardLayout:
    """Where everything is on a card.

    Parameters
    ----------
    paper : str
        "A4" or "Letter".
    """

    paper: Paper

    @property
    def page_mm(self) -> tuple[float, float]:
        """Width and height of the page."""
        return PAGES_MM[self.paper]

    def markers(self) -> dict[int, Box]:
        """Return the markers by number: upper left, upper right, lower right, lower left."""
        width, height = self.page_mm
        right, low = width - MARGIN_MM - MARKER_MM, height - MARGIN_MM - MARKER_MM
        places = ((MARGIN_MM, MARGIN_MM), (right, MARGIN_MM), (right, low), (MARGIN_MM, low))
        first = _FIRST_ID[self.paper]
        return {first + i: Box(x, y, MARKER_MM, MARKER_MM) for i, (x, y) in enumerate(places)}

    def between(self) -> Box:
        """Return the strip between the upper markers."""
        start = MARGIN_MM + MARKER_MM + GAP_MM
        return Box(start, MARGIN_MM, self.page_mm[0] - 2 * start, MARKER_MM)

    def patches(self) -> list[Box]:
        """Return the grey patches, the lightest first, left to right between the lower markers."""
        strip, count, gap = self.between(), len(PATCH_LIGHTNESS), 1.5
        width = (strip.width_mm - (count - 1) * gap) / count
        low = self.page_mm[1] - MARGIN_MM - MARKER_MM
        return [Box(strip.x_mm + i * (width + gap), low, width, MARKER_MM) for i in range(count)]

    def panel(self) -> Box:
        """Return the grey area the sheet is laid on."""
        width, height = self.page_mm
        top = MARGIN_MM + MARKER_MM + GAP_MM
        return Box(MARGIN_MM, top, width - 2 * MARGIN_MM, height - 2 * top)


@dataclass(frozen=True, eq=False)
class CardFound:
    """A marker card in a photograph.

    Parameters
    ----------
    layout : CardLayout
    plane : (3, 3) float
        Homography from card millimetres (x right, y down, from the page's upper left
        corner) to pixels (x = column, y = row).
    markers : int
        Number of markers seen.
    rms_px : float
        Root mean square distance of the markers' corners from the plane.
    """

    layout: CardLayout
    plane: Doubles
    markers: int
    rms_px: float

    def in_picture(self, places_mm: Doubles) -> Doubles:
        """Return (row, column) of places (n, 2) on the card."""
        seen = np.column_stack([places_mm, np.ones(len(places_mm))]) @ self.plane.T
        return np.asarray(seen[:, 1::-1] / seen[:, 2:])

    def on_card_mm(self, places: Doubles) -> Doubles:
        """Return card millimetres (n, 2) as x, y of pixels (row, column)."""
        back = np.linalg.inv(self.plane)
        seen = np.column_stack([places[:, ::-1], np.ones(len(places))]) @ back.T
        return np.asarray(seen[:, :2] / seen[:, 2:])

    def px_per_mm(self) -> float:
        """Return the scale in the middle of the page."""
        width, height = self.layout.page_mm
        middle = np.array([[width / 2, height / 2]])
        across, down = (
            self.in_picture(middle + step)[0] - self.in_picture(middle - step)[0]
            for step in ([0.5, 0.0], [0.0, 0.5])
        )
        return float(np.sqrt(abs(across[0] * down[1] - across[1] * down[0])))

    def patch_corners(self) -> Doubles:
        """Return the corners of the grey patches (n, 4, 2) as (row, column)."""
        return np.array([self.in_picture(box.corners_mm()) for box in self.layout.patches()])


def find_marker_card(picture: NDArray[Any]) -> CardFound | None:
    """Return the card in a picture, or None; two of its markers are enough.

    Parameters
    ----------
    picture : (rows, cols, 3) uint8, or float (linear, 1 = clip level)
    """
    coded = picture if picture.dtype == np.uint8 else 255 * np.sqrt(np.clip(picture, 0, 1))
    seen = seen_markers(coded)
    for paper in PAGES_MM:
        layout = CardLayout(paper)
        known = [(box.corners_mm(), seen[i]) for i, box in layout.markers().items() if i in seen]
        if len(known) >= 2:
            found = _fit(layout, known)
            if found is not None:
                return found
    return None


def read_greys(linear: Singles, card: CardFound) -> Doubles:
    """Return the median linear level of each grey patch, (n, 3); NaN beyond the frame.

    Only the middle of a patch is read, away from its edges.
    """
    levels = np.full((len(PATCH_LIGHTNESS), 3), np.nan)
    for i, box in enumerate(card.layout.patches()):
        u, v = np.meshgrid(np.linspace(0.25, 0.75, 15), np.linspace(0.25, 0.75, 15))
        places = np.column_stack(
            [box.x_mm + u.ravel() * box.width_mm, box.y_mm + v.ravel() * box.height_mm]
        )
        at = np.rint(card.in_picture(places)).astype(int)
        if ((at >= 0) & (at < linear.shape[:2])).all():
            levels[i] = np.median(linear[at[:, 0], at[:, 1]], axis=0)
    return levels


def marker_modules(number: int) -> NDArray[np.bool_]:
    """Return the black modules (8, 8) of a marker, its black border included."""
    dictionary = cv2.aruco.getPredefinedDictionary(_DICTIONARY)
    size = dictionary.markerSize + 2
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, size)) < 128


def seen_markers(coded: Picture) -> dict[int, Doubles]:
    """Return corners (4, 2) as x, y of the card's markers by number."""
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(_DICTIONARY))
    corners, numbers, _ = detector.detectMarkers(luma(coded))
    seen: Any = numbers  # None where there are no markers, whatever the stubs say
    if seen is None:
        return {}
    light = in_light(coded)
    pairs = zip(seen.ravel(), corners, strict=True)
    return {int(number): _sharpened(light, np.asarray(points)) for number, points in pairs}


def _sharpened(light: Picture, points: Picture) -> Doubles:
    """Return corners (4, 2) where the sides of a marker meet, to a fraction of a pixel."""
    rough = points.reshape(4, 2).astype(np.float64)
    sides = fit_sides(light, rough, reach_px=2.0, samples=16)
    if min(len(side) for side in sides.points) < 8:
        return rough
    straight = [_line(side) for side in sides.points]
    return np.array([np.linalg.solve(*_pair(straight[i - 1], straight[i])) for i in range(4)])


def _line(points: Doubles) -> tuple[Doubles, float]:
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle, full_matrices=False)[2][1]
    return normal, float(normal @ middle)


def _pair(one: tuple[Doubles, float], other: tuple[Doubles, float]) -> tuple[Doubles, Doubles]:
    return np.stack([one[0], other[0]]), np.array([one[1], other[1]])


def _fit(layout: CardLayout, known: list[tuple[Doubles, Doubles]]) -> CardFound | None:
    places = np.concatenate([mm for mm, _ in known])
    seen = np.concatenate([px for _, px in known])
    plane: Any = cv2.findHomography(places, seen, cv2.RANSAC, 3.0)[0]
    if plane is None:
        return None
    found = CardFound(layout, read_only(plane), len(known), 0.0)
    away = found.in_picture(places)[:, ::-1] - seen
    rms = float(np.sqrt((away**2).sum(axis=1).mean()))
    if rms > 3.0:
        return None
    return CardFound(layout, read_only(plane), len(known), rms)
