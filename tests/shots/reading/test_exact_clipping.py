"""Clipped shares of lossless files are counts of the photograph's own pixels, no more, no less.

The counts here are made another way: sides as half-planes, scikit-image's projective
transform, SciPy's interpolator.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator
from skimage.transform import ProjectiveTransform

from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.pipeline import judge_photo
from lightplan.shots.sheet.corners import corners_by_hand
from lightplan.shots.sheet.exact import SHEET_MEASURES, clipped_shares
from lightplan.shots.sheet.laid_out import lay_out

EASY = {
    "stock": "white",
    "table": "dark",
    "size_mm": (148, 105),
    "glare": True,
    "noise": 0.002,
    "blur_px": 0.6,
    "distortion": 0.0,
    "fill": 0.8,
    "foil_kind": "gold foil",
    "rows": 700,
    "cols": 1050,
    "jpeg": 0,
    "hot_spot": True,
    "exposure": 1.3,
}


def shares(clipped: np.ndarray, region: np.ndarray, name: str) -> dict[str, float]:
    """Shares of (rows, cols, 3) flags in a region, counted plainly."""
    inside, total = clipped[region], region.sum()
    told = {
        f"{name}_clipped_{c}_share": inside[:, i].sum() / total
        for i, c in enumerate(("red", "green", "blue"))
    }
    told[f"{name}_clipped_all_share"] = inside.all(axis=1).sum() / total
    return told | {f"{name}_clipped_share": inside.any(axis=1).sum() / total}


def between_sides(corners: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Pixels whose middle lies on the inner side of all four sides."""
    row, col = np.mgrid[: shape[0], : shape[1]]
    region = np.ones(shape[:2], bool)
    for (r0, c0), (r1, c1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        region &= (c1 - c0) * (row - r0) - (r1 - r0) * (col - c0) >= 0
    return region


def write(path, picture, bits):
    if bits == 16:  # codes of 8 bits spread over 16; the end stays the end
        picture = picture.astype(np.uint16) * 257
    cv2.imwrite(str(path), np.ascontiguousarray(picture[..., ::-1]))
    return path


@pytest.mark.parametrize("tilt_deg", [0.0, 28.0])
@pytest.mark.parametrize(("ending", "bits"), [("png", 8), ("png", 16), ("tiff", 8), ("tiff", 16)])
def test_shares_of_the_sheet_are_the_files_own(tmp_path, photograph, tilt_deg, ending, bits):
    shot = photograph(8, tilt_deg=tilt_deg, **EASY)
    path = write(tmp_path / f"a.{ending}", shot.picture, bits)
    context = PhotoContext(
        width_mm=shot.width_mm,
        height_mm=shot.height_mm,
        artwork=shot.artwork.astype(float),
        corners={path.name: shot.corners},
    )
    told = judge_photo(path, context)
    wanted = shares(shot.picture == 255, between_sides(shot.corners, shot.picture.shape), "sheet")
    assert set(wanted) == set(SHEET_MEASURES)
    assert 0.01 < wanted["sheet_clipped_all_share"] < wanted["sheet_clipped_share"]
    for name, value in wanted.items():
        assert told.value(name) == value, name


@pytest.mark.parametrize("tilt_deg", [0.0, 28.0])
def test_shares_of_foil_and_paper_are_counts_under_the_mask(tmp_path, photograph, tilt_deg):
    shot = photograph(8, tilt_deg=tilt_deg, **EASY)
    path = write(tmp_path / "a.png", shot.picture, 8)
    context = PhotoContext(
        width_mm=shot.width_mm, height_mm=shot.height_mm, artwork=shot.artwork.astype(float)
    )
    read = read_shot(path)
    found = corners_by_hand(shot.corners, shot.picture.shape[:2])
    laid = lay_out(read, found, context, grid_px=1400)
    maps = laid.maps
    told = clipped_shares(read, laid.found, maps.foil, maps.valid, confidence=1.0)

    rows, cols = maps.foil.shape
    ends = np.array([[0, 0], [cols, 0], [cols, rows], [0, rows]], float)
    plane = ProjectiveTransform.from_estimate(laid.found.corners[:, ::-1], ends)
    row, col = np.mgrid[: shot.picture.shape[0], : shot.picture.shape[1]]
    x, y = plane(np.stack([col.ravel(), row.ravel()], axis=1)).T
    inside = (x >= 0) & (x < cols) & (y >= 0) & (y < rows)
    mask = RegularGridInterpolator(
        (np.arange(rows) + 0.5, np.arange(cols) + 0.5), maps.foil.astype(float)
    )
    share = np.zeros(len(x))
    at = np.stack([np.clip(y, 0.5, rows - 0.5), np.clip(x, 0.5, cols - 0.5)], axis=1)
    share[inside] = mask(at[inside])
    shown = np.zeros(len(x), bool)
    shown[inside] = maps.valid[y[inside].astype(int), x[inside].astype(int)]
    clipped = shot.picture == 255
    for name, region in (("foil", shown & (share >= 0.5)), ("paper", shown & (share < 0.02))):
        for key, value in shares(clipped, region.reshape(row.shape), name).items():
            assert told[key][0] == pytest.approx(value, abs=1e-12), key
    assert told["foil_clipped_share"][0] > 0.01


@pytest.mark.parametrize("bits", [8, 16])
def test_a_sheet_photographed_straight_on_gives_the_drawn_shares(tmp_path, bits):
    """Found without help, its artwork laid on: the shares of foil are those drawn, to a pixel."""
    art = np.zeros((520, 740), np.uint8)
    cv2.circle(art, (370, 180), 110, 1, -1)
    cv2.rectangle(art, (120, 380), (620, 450), 1, -1)
    picture = np.full((800, 1200, 3), 40, np.uint8)
    sheet = np.full((520, 740, 3), 205, np.uint8)
    sheet[art == 1] = (180, 140, 70)
    sheet[430:, 300:][art[430:, 300:] == 1] = (255, 140, 70)  # red at its end
    sheet[140:200, 340:420] = 255  # and all of them
    picture[130:650, 210:950] = sheet
    path = write(tmp_path / f"a{bits}.png", picture, bits)
    drawn = np.kron(art, np.ones((2, 2), np.uint8)).astype(float)
    told = judge_photo(path, PhotoContext(width_mm=148, height_mm=104, artwork=drawn))
    for key, value in shares(sheet == 255, art == 1, "foil").items():
        assert told.value(key) == value, key
