"""Warping to the sheet's grid: places, clipped shares, background."""

import numpy as np
import pytest

from lightplan.arrays import read_only
from lightplan.shots.sheet.corners import SheetFound
from lightplan.shots.sheet.squaring import background, project, square, window


def placed(corners, shape, bending=0.0):
    return SheetFound(read_only(corners), shape, 1.0, "by hand", bending)


@pytest.fixture(scope="module")
def shot(photograph):
    return photograph(
        31,
        size_mm=(105, 148),
        stock="white",
        foil_kind="gold foil",
        table="grey",
        tilt_deg=20.0,
        distortion=0.0,
        jpeg=0,
        noise=0.0,
        hot_spot=True,
        glare=False,
        fill=0.85,
        exposure=0.8,
    )


def squared_of(shot, to_linear, **more):
    found = placed(shot.corners, shot.picture.shape[:2])
    return found, square(
        to_linear(shot.picture), shot.picture == 255, found, width_mm=105, height_mm=148, **more
    )


def test_corners_project_to_themselves_for_bent_lenses_too():
    corners = np.array([[100.0, 150.0], [90.0, 700.0], [500.0, 720.0], [520.0, 130.0]])
    for bending in (0.0, 0.03, -0.03):
        found = placed(corners, (600, 900), bending)
        there = project(found, np.array([0, 1, 1, 0.0]), np.array([0, 0, 1, 1.0]))
        np.testing.assert_allclose(there, corners, atol=1e-8)


def test_places_agree_with_the_camera_that_took_it(shot):
    """Sheet millimetres through the true pose land where `project` says."""
    found = placed(shot.corners, shot.picture.shape[:2])
    u, v = np.meshgrid(np.linspace(0, 1, 7), np.linspace(0, 1, 9))
    points = np.stack([(u - 0.5) * 105, (0.5 - v) * 148, 0 * u], axis=-1)
    seen = points @ shot.rotation.T + shot.translation_mm
    rows, cols = shot.picture.shape[:2]
    col = shot.focal_px * seen[..., 0] / seen[..., 2] + (cols - 1) / 2
    row = shot.focal_px * seen[..., 1] / seen[..., 2] + (rows - 1) / 2
    np.testing.assert_allclose(project(found, u, v), np.stack([row, col], -1), atol=1e-6)


def test_clipped_share_of_a_lossless_file_is_exact(shot, to_linear):
    """Against counting the photograph's own clipped pixels on the foil."""
    found, squared = squared_of(shot, to_linear)
    rows, cols = squared.valid.shape
    v, u = (np.mgrid[0:rows, 0:cols] + 0.5) / np.array([rows, cols])[:, None, None]
    at = np.rint(project(found, u, v)).astype(int)
    foil = shot.foil[at[..., 0], at[..., 1]] > 0.5
    here = squared.clipped[foil & squared.valid].mean(axis=0)
    # Each pixel of the photograph counts with the area of paper that it shows.
    inside = shot.foil > 0.5
    weight = _sheet_area(shot)
    there = (weight * (shot.picture == 255))[inside].sum(axis=0) / weight[inside].sum()
    assert there.max() > 0.02
    np.testing.assert_allclose(here, there, atol=0.002)


def _sheet_area(shot):
    """Relative area of the sheet that each pixel sees, (rows, cols, 1): 1 / w^3."""
    rows, cols = shot.picture.shape[:2]
    plane = np.column_stack([shot.rotation[:, 0], shot.rotation[:, 1], shot.translation_mm])
    y, x = np.mgrid[0:rows, 0:cols]
    rays = np.stack(
        [
            (x - (cols - 1) / 2) / shot.focal_px,
            (y - (rows - 1) / 2) / shot.focal_px,
            np.ones_like(x),
        ],
        axis=-1,
    )
    depth = rays @ np.linalg.inv(plane)[2]
    return (1 / np.abs(depth) ** 3)[..., None]


def test_mean_level_survives_a_coarser_grid(shot, to_linear):
    _, fine = squared_of(shot, to_linear)
    _, coarse = squared_of(shot, to_linear, long_side=140)
    assert coarse.valid.shape == (140, 99)
    fine_mean = fine.linear[fine.valid].mean(axis=0)
    np.testing.assert_allclose(coarse.linear[coarse.valid].mean(axis=0), fine_mean, rtol=0.01)


def test_a_window_gives_the_same_as_the_whole(shot, to_linear):
    found, whole = squared_of(shot, to_linear)
    rows, cols = window(found)
    part = square(
        to_linear(shot.picture[rows, cols]),
        shot.picture[rows, cols] == 255,
        found,
        width_mm=105,
        height_mm=148,
        origin=(rows.start, cols.start),
    )
    np.testing.assert_allclose(part.linear, whole.linear, atol=2e-4)
    np.testing.assert_array_equal(part.clipped, whole.clipped)
    np.testing.assert_array_equal(part.valid, whole.valid)


def test_what_lies_beyond_the_frame_is_not_valid(shot, to_linear):
    corners = shot.corners - np.array([0.0, shot.corners[:, 1].min() + 60.0])
    found = placed(corners, shot.picture.shape[:2])
    squared = square(
        to_linear(shot.picture), shot.picture == 255, found, width_mm=105, height_mm=148
    )
    rows, cols = squared.valid.shape
    v, u = (np.mgrid[0:rows, 0:cols] + 0.5) / np.array([rows, cols])[:, None, None]
    outside = project(found, u, v)[..., 1] < -0.6
    assert outside.any()
    assert not squared.valid[outside].any()
    assert squared.valid[~outside].mean() > 0.95


def test_background_is_the_table(shot, to_linear):
    found = placed(shot.corners, shot.picture.shape[:2])
    samples = background(to_linear(shot.picture), shot.picture == 255, found)
    table = shot.light[:60, :60].mean()
    assert len(samples.linear) > 100
    assert 0.3 * table < np.median(samples.linear) < 1.6 * table
    assert not samples.clipped.any()
