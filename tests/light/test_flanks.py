"""The loops for stamped outlines and for the parts of a lobe, against plain references."""

import subprocess
import sys

import numpy as np
import pytest
from scipy import ndimage

from lightplan.light import edge_on_grid
from lightplan.light.compiled import flanks, lobe_parts, mixing
from lightplan.light.rim import Rim
from lightplan.scene import Foil, Sheet
from lightplan.scene.sheet import Relief

FACINGS, ROWS, COLS = 8, 4, 5


@pytest.fixture
def random():
    return np.random.default_rng(11)


def places(random, count=500):
    turn = random.uniform(0, FACINGS, count)
    row, col = random.uniform(0, ROWS - 1, count), random.uniform(0, COLS - 1, count)
    row[:3], col[:3] = ROWS - 1, COLS - 1  # at the very end
    return turn, row, col


def test_flanks_are_read_as_scipy_reads_a_grid(random):
    rim = random.random((FACINGS, ROWS, COLS, 3)).astype(np.float32)
    at = places(random)
    found = np.empty((len(at[0]), 3), np.float32)
    flanks.read_rim(*at, rim, found)
    around = np.concatenate([rim, rim[:1]])
    for c in range(3):
        exact = ndimage.map_coordinates(around[..., c], np.stack(at), order=1, mode="nearest")
        assert found[:, c] == pytest.approx(exact, abs=1e-6)


def test_what_is_gathered_glows_as_the_flanks_one_by_one(random):
    rim = random.random((FACINGS, ROWS, COLS, 3)).astype(np.float32)
    at, share = places(random), random.random(500)
    pixel, points = random.integers(0, 30, 500), random.uniform(10, 50, 32)
    first, node, weight = flanks.gathered(pixel, *at, share, points, (FACINGS, ROWS, COLS))
    each = np.empty((500, 3), np.float32)
    flanks.read_rim(*at, rim, each)
    exact = np.zeros((32, 3))
    np.add.at(exact, pixel, each * share[:, None])
    exact /= points[:, None]
    found = np.empty((32, 3), np.float32)
    flanks.glow(first, node, weight, rim.reshape(-1, 3), found)
    assert found == pytest.approx(exact, rel=1e-4, abs=1e-6)
    assert len(np.unique(node[first[3] : first[4]])) == first[4] - first[3]  # each once


@pytest.mark.parametrize("width", [1.0, 1.7, 2.0, 3.0, 4.6, 30.0])
def test_windows_are_averaged_as_a_fine_picture_says(random, width):
    art = random.random((2, 9, 3)).astype(np.float32)
    found = np.empty_like(art)
    mixing.window_means(art, width, found)
    finer = 1000  # every pixel cut into that many, and the border's last one going on
    line = np.repeat(np.pad(art, ((0, 0), (20, 20), (0, 0)), mode="edge"), finer, axis=1)
    total = np.concatenate([np.zeros((2, 1, 3)), np.cumsum(line, axis=1, dtype=float)], axis=1)
    middle = (np.arange(9) + 20.5) * finer
    reach = width * finer / 2
    low, high = (np.rint(middle + side * reach).astype(int) for side in (-1, 1))
    exact = (total[:, high] - total[:, low]) / (high - low)[:, None]
    assert found == pytest.approx(exact, abs=2e-4)


def test_rays_are_tallied_and_counted_by_the_part_they_go_by(random):
    n, r, t = 7, 40, 3
    where = np.array([t, 0, 2, t, 1])  # parts of five surfaces
    first, facets = random.integers(-1, 5, (n, r)).astype(np.int16), random.random((n, r))
    met = np.where(random.random((n, r)) < 0.3, 3, first).astype(np.int16)
    facets = facets.astype(np.float32)
    carry = random.random((3, n, r)).astype(np.float32)
    carry[:, random.random((n, r)) < 0.2] = 0.0  # lost in the mirror itself
    by_rays, hits = np.zeros((2, n, t + 1))
    lobe_parts.tally(first, where, facets, carry, by_rays, hits)
    part = np.where((first < 0) | (carry == 0).all(axis=0), t, where[first])
    for p in range(t + 1):
        assert by_rays[:, p] == pytest.approx((facets * (part == p)).sum(axis=1), rel=1e-6)
        assert hits[:, p] == pytest.approx((part == p).mean(axis=1))
    factor, left = random.random((2, n, t + 1))
    brings = np.empty_like(carry)
    lobe_parts.counted(first, met, where, factor, left, carry, brings)
    share = np.take_along_axis(factor, part, axis=1)
    share = share * np.where(met == first, np.take_along_axis(left, part, axis=1), 1.0)
    assert brings == pytest.approx(carry * share, rel=1e-6)


ALONE = """
import sys
import numpy as np
from lightplan.light.compiled import mixing
for kind in ({kinds}):
    values = np.zeros((2, 3), kind)
    mixing.lay(values, np.array([0, 1]), np.zeros(2, bool), np.empty((4, 3), kind))
print("numba.np.npyimpl" in sys.modules, sum(mixing.lay.stats.cache_hits.values()))
"""


def test_kept_loops_are_loaded_without_what_compiling_takes(tmp_path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))

    def told(kinds):
        code = ALONE.format(kinds=kinds)
        return subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True
        ).stdout.split()

    assert told("np.float32,") == ["True", "0"]  # compiled, and kept
    assert told("np.float32,") == ["False", "1"]
    assert told("np.float32, np.float64") == ["True", "1"]  # and one more is compiled as ever


def test_a_sheet_of_plain_stamped_foil_is_laid_on_a_grid_at_once(monkeypatch):
    """Without artwork one pixel holds the whole sheet; its points were gone through one by one."""
    foil = Foil(relief=Relief(depth_mm=0.03, flank_mm=0.2))
    sheet = Sheet(width_mm=150, height_mm=50, foil=foil)
    x_mm, y_mm = np.linspace(-75, 75, 600), np.linspace(25, -25, 200)
    rim = Rim(x_mm[::100], y_mm[::50], np.zeros((12, 4, 6, 3), np.float32))
    calls, real = [], edge_on_grid.places
    monkeypatch.setattr(edge_on_grid, "places", lambda *a: calls.append(1) or real(*a))
    found = edge_on_grid.edge_on_grid(sheet, x_mm, y_mm, rim)
    assert len(calls) <= 4
    assert found.flank.max() == 0.0  # no outline, no flank
