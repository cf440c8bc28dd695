"""The fine unevenness of stock: slopes of a height, of the stated size, by its seed alone."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lightplan.scene import Flatness, Paper, Sheet, Waviness, relief

WAVY = Waviness(slope_rad=math.radians(0.5), wavelength_mm=10.0, seed=4)


def field(size_mm=600.0, count=301):
    step = np.linspace(-size_mm / 2, size_mm / 2, count)
    return np.meshgrid(step, step)


def test_slopes_are_those_of_the_height():
    x, y = field(40.0, 81)
    h = 1e-4
    found = relief.wave_slopes(WAVY, x, y)
    for slope, (dx, dy) in zip(found, ((h, 0), (0, h)), strict=True):
        rise = relief.wave_height(WAVY, x + dx, y + dy) - relief.wave_height(WAVY, x - dx, y - dy)
        assert slope == pytest.approx(rise / (2 * h), abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_the_slope_has_the_stated_root_mean_square_along_both_axes(seed):
    # over 60 wavelengths: sampling alone leaves some per cent
    for slope in relief.wave_slopes(replace(WAVY, seed=seed), *field()):
        assert np.sqrt(np.mean(slope**2)) == pytest.approx(math.tan(math.radians(0.5)), rel=0.05)


def test_hills_lie_a_wavelength_apart():
    # mean square slope over mean square height of a wave of length L: (2 pi / L)^2, per axis half
    x, y = field()
    height = relief.wave_height(WAVY, x, y)
    slopes = relief.wave_slopes(WAVY, x, y)
    length = 2 * math.pi * math.sqrt(np.mean(height**2) / sum(np.mean(s**2) for s in slopes))
    assert 8.0 < length < 14.0


def test_the_same_seed_is_the_same_sheet_and_another_is_another():
    x, y = field(100.0, 51)
    first = relief.wave_height(WAVY, x, y)
    assert np.array_equal(first, relief.wave_height(replace(WAVY), x, y))
    other = relief.wave_height(replace(WAVY, seed=5), x, y)
    assert abs(np.corrcoef(first.ravel(), other.ravel())[0, 1]) < 0.3


def test_mirrors_lean_with_bow_and_unevenness_together():
    bowed = Flatness(bow_mm=2.0)
    sheet = Sheet(width_mm=148, height_mm=105, paper=Paper(waviness=WAVY), flatness=bowed)
    x, y = field(100.0, 21)
    h = 1e-4

    def height(x, y):
        return relief.height(sheet, x, y) + relief.wave_height(WAVY, x, y)

    rise_x = (height(x + h, y) - height(x - h, y)) / (2 * h)
    rise_y = (height(x, y + h) - height(x, y - h)) / (2 * h)
    expected = np.stack([-rise_x, -rise_y, np.ones_like(x)], axis=-1)
    expected /= np.linalg.norm(expected, axis=-1, keepdims=True)
    assert relief.mirror_normals(sheet, x, y) == pytest.approx(expected, abs=1e-6)
    even = replace(sheet, paper=Paper())
    assert np.array_equal(relief.mirror_normals(even, x, y), relief.normals(even, x, y))
