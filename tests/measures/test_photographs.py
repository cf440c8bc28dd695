"""Measures that only photographs get: hot spots, dust, sharpness, framing, lines."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
import skimage.data

from lightplan.errors import BadInput
from lightplan.measures import SheetMaps
from lightplan.measures.crops import crops, pixels_left
from lightplan.measures.dust import specks
from lightplan.measures.hotspots import hot_spots
from lightplan.measures.line import contrast_along
from lightplan.measures.sharpness import LEAST_STEP, STEP_PX, _rise_px, sharpness
from lightplan.optics.colour import srgb_decode

WIDTH_MM, HEIGHT_MM = 148.0, 111.0


@pytest.mark.parametrize(("x0", "y0"), [(0.0, 0.0), (-30.0, 15.0), (40.0, -20.0)])
@pytest.mark.parametrize("noise", [0.0, 0.02])
def test_a_hot_spot_has_its_place_area_and_height(sheet, x0, y0, noise):
    radius, height = 6.0, 1.0

    def foil(x, y):
        ground = 0.3 * 2.0 ** (x / 148.0)
        return ground * (1.0 + (2.0**height - 1.0) * (np.hypot(x - x0, y - y0) < radius))

    found = hot_spots(sheet(foil, 0.4, rows=300, cols=400, noise=noise))
    assert len(found) == 1
    spot = found[0]
    assert spot.on == "foil"
    assert not spot.clipped
    assert math.hypot(spot.where_mm[0] - x0, spot.where_mm[1] - y0) < 0.02 * WIDTH_MM
    assert spot.area_mm2 == pytest.approx(math.pi * radius**2, rel=0.10)
    assert spot.height_stops == pytest.approx(height, abs=0.15)


def test_a_soft_hot_spot_is_measured_at_half_its_height(sheet):
    sigma = 5.0

    def foil(x, y):
        return 0.3 * (1.0 + 0.8 * np.exp(-(x**2 + y**2) / (2.0 * sigma**2)))

    (spot,) = hot_spots(sheet(foil, 0.4, rows=300, cols=400))
    # Half height of a Gaussian: radius^2 = 2 ln 2 sigma^2.
    assert spot.area_mm2 == pytest.approx(math.pi * 2.0 * math.log(2.0) * sigma**2, rel=0.10)


def test_a_clipped_spot_and_one_on_the_paper_are_told(sheet):
    def foil(x, y):
        return np.where(np.hypot(x, y) < 5.0, 1.5, 0.4)

    def paper(x, y):
        return np.where(np.hypot(x + 64.0, y - 45.0) < 5.0, 0.75, 0.5)

    found = hot_spots(sheet(foil, paper, rows=300, cols=400, saturate=True))
    assert [(spot.on, spot.clipped) for spot in found] == [("foil", True), ("paper", False)]


def test_an_even_or_slowly_changing_sheet_has_no_hot_spot(sheet):
    maps = sheet(lambda x, y: 0.4 * 2.0 ** (x / 60.0), 0.5, rows=300, cols=400, noise=0.02)
    assert hot_spots(maps) == ()


def test_dust_and_scratch_are_told_apart_with_their_sizes(sheet):
    scale = 600 / WIDTH_MM  # pixels per mm
    maps = sheet(0.5, 0.6, rows=450, cols=600, noise=0.01)
    picture = np.array(maps.linear)
    cv2.circle(picture, (300, 225), round(0.4 * scale), (0.15, 0.15, 0.15), -1)
    row = 180
    picture[row : row + 2, 330:390] = 0.9  # 60 x 2 pixels
    found = specks(maps.with_linear(picture))
    assert [(s.kind, s.bright, s.on) for s in found] == [
        ("scratch", True, "foil"),
        ("dust", False, "foil"),
    ]
    scratch, grain = found
    assert scratch.length_mm == pytest.approx(60 / scale, rel=0.05)
    assert scratch.width_mm == pytest.approx(2 / scale, rel=0.2)
    assert math.hypot(*grain.where_mm) < 0.5
    # A disc's second moments are those of a rectangle of side 0.866 diameters.
    diameter = (2 * round(0.4 * scale) + 1) / scale
    assert grain.length_mm == pytest.approx(0.866 * diameter, rel=0.15)


def test_a_clean_noisy_sheet_has_no_dust(sheet):
    assert specks(sheet(0.5, 0.6, rows=450, cols=600, noise=0.03)) == ()


def edges(
    sigma: float, *, rows: int = 450, cols: int = 600, noise: float = 0.0, every: int = 50
) -> SheetMaps:
    """Return a sheet of foil disks all over, blurred by a Gaussian."""
    y, x = np.mgrid[0:rows, 0:cols]
    half = every / 2.0
    tile = np.hypot((x % every) - half, (y % every) - half) < 0.26 * every
    linear = np.where(tile[..., None], 0.7, 0.3) * np.ones(3)
    fine = cv2.GaussianBlur(linear, (0, 0), sigma) if sigma else linear
    fine = fine + noise * np.random.default_rng(3).standard_normal(fine.shape)
    return SheetMaps.from_linear(
        fine, tile.astype(np.float32), width_mm=WIDTH_MM, height_mm=HEIGHT_MM
    )


@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.5])
def test_a_gaussian_blur_gives_its_edge_width(sigma):
    found = sharpness(edges(sigma))
    # 10 to 90 % of a normal distribution: 2 x 1.28155 sigma (tables of the normal).
    assert found.measures["sharpness_edge_rise_px"][0] == pytest.approx(2.5631 * sigma, rel=0.08)
    assert np.isfinite(found.rise_mm).all()
    mm = found.measures["sharpness_edge_rise_mm"][0]
    assert mm == pytest.approx(found.measures["sharpness_edge_rise_px"][0] * WIDTH_MM / 600)


def plain_widths(profiles):
    """Return the widths line by line, with numpy's own interpolation."""
    found = []
    for line in profiles:
        rising = np.diff(line) > 0.01 * np.ptp(line) * STEP_PX
        low = high = len(line) // 2
        while low > 0 and rising[low - 1]:
            low -= 1
        while high < len(rising) and rising[high]:
            high += 1
        step = line[high] - line[low]
        if step >= LEAST_STEP and low > 0 and high < len(rising):
            share = (line[low : high + 1] - line[low]) / step
            ends = np.interp([0.1, 0.9], share, np.arange(len(share)))
            found.append((ends[1] - ends[0]) * STEP_PX)
    return np.array(found)


@pytest.mark.parametrize("noise", [0.0, 1e-4, 1e-2])
def test_widths_of_many_profiles_at_once_are_those_of_each(noise):
    rng = np.random.default_rng(7)
    away = np.arange(97) - 48 - rng.normal(0, 6, (400, 1))
    rise = rng.uniform(0, 1, (400, 1)) / (1 + np.exp(-away / rng.uniform(0.3, 14, (400, 1))))
    profiles = rise + noise * rng.standard_normal(rise.shape)
    wanted = plain_widths(profiles)
    assert len(wanted) > 100
    np.testing.assert_array_equal(_rise_px(profiles, LEAST_STEP)[0], wanted)
    assert len(_rise_px(np.zeros((3, 97)), LEAST_STEP)[0]) == 0


def test_more_blur_is_less_sharp_also_under_noise():
    widths = [
        sharpness(edges(s, noise=0.01)).measures["sharpness_edge_rise_px"][0]
        for s in (0.7, 1.0, 1.4, 2.0, 2.8)
    ]
    assert widths == sorted(widths)


@pytest.mark.parametrize("noise", [0.0, 0.004, 0.012, 0.03])
@pytest.mark.parametrize("sigma", [1.0, 6.0, 14.0])
def test_noise_does_not_sharpen(sigma, noise):
    # Quantiles of the normal distribution, whatever the noise: also where the blur is wider
    # than the profiles and the sharpest things in the picture are grains.
    found = sharpness(edges(sigma, rows=1200, cols=1600, noise=noise, every=200))
    assert found.measures["sharpness_edge_rise_px"][0] == pytest.approx(2.5631 * sigma, rel=0.25)


@pytest.mark.parametrize("name", ["coins", "camera", "page"])
def test_real_pictures_are_ordered_by_their_blur(name):
    # Photographs that scikit-image carries; not enlarged, so pixels are the camera's own.
    picture = srgb_decode(getattr(skimage.data, name)() / 255.0)
    picture = np.repeat(picture[..., None], 3, axis=2).astype(np.float32)
    rows, cols = picture.shape[:2]
    widths = []
    for sigma in (0.0, 1.0, 1.6, 2.4):
        fine = cv2.GaussianBlur(picture, (0, 0), sigma) if sigma else picture
        maps = SheetMaps.from_linear(
            fine, np.zeros((rows, cols)), width_mm=cols / 4, height_mm=rows / 4
        )
        widths.append(sharpness(maps).measures["sharpness_edge_rise_px"][0])
    assert widths == sorted(widths)
    assert widths[-1] > 1.4 * widths[0]


def test_one_soft_corner_is_seen_in_its_ninth():
    maps = edges(1.0)
    picture = np.array(maps.linear)
    picture[:150, :200] = cv2.GaussianBlur(picture, (0, 0), 2.0)[:150, :200]
    found = sharpness(maps.with_linear(picture))
    assert np.unravel_index(np.argmax(found.rise_px), (3, 3)) == (0, 0)
    assert found.rise_px[0, 0] > 1.7 * found.rise_px[2, 2]


def test_a_sheet_without_edges_has_no_sharpness(sheet):
    assert sharpness(sheet(0.5, mask="all")).measures == {}


def test_pixels_left_of_a_keystoned_sheet_are_those_of_its_far_edge():
    left = pixels_left([[0, 100], [0, 300], [300, 400], [300, 0]], width_mm=100, height_mm=75)
    assert left.per_mm <= 2.0
    assert left.share < 1.0


def test_crops_have_their_shape_and_hold_the_sheet():
    corners = [[400, 500], [420, 1500], [1100, 1490], [1120, 480]]
    for crop in crops(corners, (2000, 3000)):
        across, down = map(int, crop.shape.split(":"))
        assert crop.fits
        assert crop.cols / crop.rows == pytest.approx(across / down, rel=0.003)
        assert crop.row <= 400
        assert crop.col <= 480
        assert crop.row + crop.rows >= 1120
        assert crop.col + crop.cols >= 1500


def test_a_sheet_that_fills_the_frame_leaves_no_square_crop():
    corners = [[20, 20], [20, 1480], [980, 1480], [980, 20]]
    found = {crop.shape: crop for crop in crops(corners, (1000, 1500))}
    assert not found["1:1"].fits
    assert found["1:1"].rows == 1000


def test_corners_that_are_no_corners_are_refused():
    with pytest.raises(BadInput, match="corners_px must be four finite"):
        crops([[0, 0], [1, 1]], (10, 10))


def test_the_contrast_of_a_gradient_flips_where_it_passes_the_paper(sheet):
    maps = sheet(lambda x, y: 0.4 * 2.0 ** ((x - 12.0) / 30.0), 0.4)
    found = contrast_along(maps, start_mm=(-50.0, 0.0), end_mm=(50.0, 0.0))
    assert found.flips_mm == pytest.approx((62.0,), abs=1.0)
    assert contrast_along(maps, start_mm=(-50.0, 0.0), end_mm=(0.0, 0.0)).flips_mm == ()


def test_a_line_needs_foil_and_paper(sheet):
    with pytest.raises(BadInput, match="maps must be a sheet that shows foil and paper"):
        contrast_along(sheet(mask="all"), start_mm=(0, 0), end_mm=(1, 0))
