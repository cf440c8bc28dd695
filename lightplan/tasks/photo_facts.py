"""What a photograph tells of its camera, and of a stock beside white paper; no more is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lightplan.errors import PhotoError
from lightplan.shots.formats.reading import read_shot

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.arrays import Singles

WHITE_PAPER = 0.85
"""Reflectance of white copy paper; common practice, no source."""
SPOT_SHARE = 0.015
"""Half the side of the spot that is averaged, as a share of the picture's longer side."""
LEAST_LIGHT = 0.01
PIXELS = (720, 480)
"""Columns and rows of a part that is shown pixel for pixel."""


@dataclass(frozen=True)
class LensFacts:
    """A camera as its photograph tells it: 35 mm equivalent (None where untold) and pixels."""

    equivalent_mm: float | None
    pixels: tuple[int, int]
    is_phone: bool


def lens_of_photo(path: Path) -> LensFacts:
    """Return what a photograph tells of the lens that took it.

    Raises
    ------
    PhotoError
        When it cannot be read.
    """
    shot = read_shot(path, long_side_px=600)
    settings = shot.settings
    real, alike = settings.focal_length_mm, settings.focal_length_35mm
    is_phone = real is not None and real < 13.0  # shorter than lenses of larger cameras usually are
    pixels = (shot.cols * shot.reduction, shot.rows * shot.reduction)
    return LensFacts(alike, pixels, is_phone)


def small_picture(path: Path, long_side: int = 900) -> bytes:
    """Return a photograph small and upright as JPEG, with nothing told beside its pixels."""
    import cv2

    codes = read_shot(path, long_side_px=long_side).preview(long_side)
    bgr = np.ascontiguousarray(codes[..., ::-1])
    return cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, 85])[1].tobytes()


def pixels_at(path: Path, at: tuple[float, float], size: tuple[int, int] = PIXELS) -> bytes:
    """Return a part of a photograph pixel for pixel as JPEG, upright.

    Parameters
    ----------
    at : (2,) float
        Its middle in the picture, from the left and from the top, 0 to 1; parts that would lie
        outside are moved in.
    size : (2,) int
        Columns and rows, fewer where the photograph has fewer.
    """
    import cv2

    shot = read_shot(path)
    codes = shot.preview(max(shot.rows, shot.cols))
    first = [
        round(min(max(share * whole - part / 2, 0), max(whole - part, 0)))
        for share, whole, part in zip(at, codes.shape[1::-1], size, strict=True)
    ]
    part = codes[first[1] : first[1] + size[1], first[0] : first[0] + size[0], ::-1]
    quality = [cv2.IMWRITE_JPEG_QUALITY, 92]
    return cv2.imencode(".jpg", np.ascontiguousarray(part), quality)[1].tobytes()


def stock_beside_paper(
    path: Path, *, stock_at: tuple[float, float], paper_at: tuple[float, float]
) -> tuple[float, float, float]:
    """Return the reflectance of a stock that was photographed beside white copy paper.

    Parameters
    ----------
    stock_at, paper_at : (2,) float
        Where they lie in the picture, from the left and from the top, 0 to 1.

    Raises
    ------
    PhotoError
        When the paper is too dark or burnt out there.
    """
    shot = read_shot(path, long_side_px=1200)
    stock, paper = (mean_at(np.asarray(shot.linear), at) for at in (stock_at, paper_at))
    if paper.min() < LEAST_LIGHT or paper.max() > 0.985:
        raise PhotoError(
            field="white paper",
            wanted="neither dark nor burnt out in the photograph",
            got=f"{100 * float(paper.max()):.0f} % of the most it can hold",
            cure="photograph both again with another exposure",
            file=path.name,
        )
    red, green, blue = (float(v) for v in np.clip(WHITE_PAPER * stock / paper, 0.005, 0.95))
    return (round(red, 3), round(green, 3), round(blue, 3))


def mean_at(linear: Singles, at: tuple[float, float]) -> Singles:
    """Return the middle value of a small spot of a picture, at shares of its width and height."""
    rows, cols = linear.shape[:2]
    half = max(1, round(SPOT_SHARE * max(rows, cols)))
    row, col = round(min(max(at[1], 0), 1) * (rows - 1)), round(min(max(at[0], 0), 1) * (cols - 1))
    spot = linear[max(0, row - half) : row + half + 1, max(0, col - half) : col + half + 1]
    return np.asarray(np.median(spot.reshape(-1, 3), axis=0))
