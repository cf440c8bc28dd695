"""Pixels left after squaring, and crops that hold the sheet. Takes numbers, no picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from lightplan.arrays import Doubles

CROP_SHAPES: tuple[tuple[str, int, int], ...] = (
    ("1:1", 1, 1),
    ("4:3", 4, 3),
    ("3:4", 3, 4),
    ("5:4", 5, 4),
    ("4:5", 4, 5),
)


@dataclass(frozen=True, slots=True)
class PixelsLeft:
    """What squaring leaves of the sheet's pixels.

    Parameters
    ----------
    per_mm : float
        Pixels per mm where and in the direction in which the sheet is seen smallest.
    cols, rows : int
        Size of the squared sheet that invents no pixels.
    share : float
        Those pixels over the pixels that the sheet covers in the photograph.
    """

    per_mm: float
    cols: int
    rows: int
    share: float


@dataclass(frozen=True, slots=True)
class Crop:
    """A crop of the photograph.

    Parameters
    ----------
    shape : str
        "4:3" is width to height.
    row, col, rows, cols : int
        Top left pixel and size.
    fits : bool
        Whether the whole sheet with its margin lies inside.
    """

    shape: str
    row: int
    col: int
    rows: int
    cols: int
    fits: bool


def pixels_left(corners_px: ArrayLike, *, width_mm: float, height_mm: float) -> PixelsLeft:
    """Return how many pixels the sheet keeps after squaring.

    Parameters
    ----------
    corners_px : (4, 2) float
        (row, column) of the far left, far right, near right and near left corner.
    width_mm, height_mm : float
        Size of the sheet.

    Examples
    --------
    >>> pixels_left([[0, 0], [0, 400], [300, 400], [300, 0]], width_mm=100, height_mm=75)
    PixelsLeft(per_mm=4.0, cols=400, rows=300, share=1.0)
    """
    corners = _corners(corners_px)
    sheet = np.array([[0, 0], [width_mm, 0], [width_mm, height_mm], [0, height_mm]], np.float32)
    warp = cv2.getPerspectiveTransform(sheet, corners[:, ::-1].astype(np.float32))
    to_px = np.asarray(warp, np.float64)
    places = np.stack(np.meshgrid([0, width_mm / 2, width_mm], [0, height_mm / 2, height_mm]), -1)
    scale = min(
        float(np.linalg.norm(_jacobian(to_px, float(x), float(y)), -2))  # least singular value
        for x, y in places.reshape(-1, 2)
    )
    scale = round(scale, 6)
    cols, rows = round(width_mm * scale), round(height_mm * scale)
    area = float(cv2.contourArea(corners[:, ::-1].astype(np.float32)))
    return PixelsLeft(scale, cols, rows, min(1.0, cols * rows / max(area, 1.0)))


def frame_fill(
    corners_px: ArrayLike, picture_shape: tuple[int, int]
) -> dict[str, tuple[float, float]]:
    """Return `frame_fill_share`: what the sheet spans of the frame where it is tightest.

    Parameters
    ----------
    corners_px : (4, 2) float
        (row, column) of the sheet's corners.
    picture_shape : (int, int)

    Examples
    --------
    >>> frame_fill([[100, 100], [100, 300], [200, 300], [200, 100]], (400, 600))
    {'frame_fill_share': (0.3333333333333333, 0.0)}
    """
    corners = _corners(corners_px)
    span = (corners.max(axis=0) - corners.min(axis=0)) / np.asarray(picture_shape, float)
    return {"frame_fill_share": (float(span.max()), 0.0)}


def crops(
    corners_px: ArrayLike, picture_shape: tuple[int, int], *, margin_share: float = 0.04
) -> tuple[Crop, ...]:
    """Return the smallest crop of each usual shape that holds the sheet and a margin.

    Parameters
    ----------
    corners_px : (4, 2) float
        (row, column) of the sheet's corners.
    picture_shape : (int, int)
        Rows and columns of the photograph.
    margin_share : float
        Margin on each side as a share of the sheet's longer side in the picture.
    """
    corners = _corners(corners_px)
    low, high = corners.min(axis=0), corners.max(axis=0)
    margin = margin_share * float((high - low).max())
    low, high = low - margin, high + margin
    need = high - low
    found = []
    for name, across, down in CROP_SHAPES:
        cols = max(float(need[1]), float(need[0]) * across / down)
        size = np.array([cols * down / across, cols])
        fits = bool(np.all(size <= picture_shape) and low.min() >= 0.0)
        fits = fits and bool(np.all(high <= picture_shape))
        size = np.minimum(
            size, min(picture_shape[0] / down, picture_shape[1] / across) * np.array([down, across])
        )
        start = np.clip(0.5 * (low + high) - 0.5 * size, 0.0, np.array(picture_shape) - size)
        row, col = (int(v) for v in np.floor(start + 1e-6))
        rows, cols_px = (int(v) for v in np.floor(size + 1e-6))
        found.append(Crop(name, row, col, rows, cols_px, fits))
    return tuple(found)


def _jacobian(transform: Doubles, x: float, y: float) -> Doubles:
    u, v, w = transform @ np.array([x, y, 1.0])
    top = transform[:2, :2] * w - np.outer([u, v], transform[2, :2])
    jacobian: Doubles = top / (w * w)
    return jacobian


def _corners(corners_px: ArrayLike) -> Doubles:
    corners = np.asarray(corners_px, np.float64)
    if corners.shape != (4, 2) or not np.isfinite(corners).all():
        raise BadInput(
            field="corners_px",
            wanted="four finite (row, column) pairs",
            got=f"shape {corners.shape}",
            cure="give the sheet's four corners",
        )
    return corners
