"""The sheet's outline in the picture, against the exact area of the sheet in it."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.light.soft_edge import soften
from lightplan.rigfiles import load_rig

SHAPE = (60, 90)


@pytest.fixture(scope="module")
def rig():
    return load_rig("gold-card-above").rig


def corners(rig):
    """(row, column) of the sheet's corners in a picture of `SHAPE`, edges at whole numbers."""
    ends = np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0]], float) / 2
    ends *= [rig.sheet.width_mm, rig.sheet.height_mm, 0]
    right, up, forward = rig.camera.axes()
    way = ends - rig.camera.placement.position_mm
    tan_x, tan_y = rig.camera.half_angles_tan()
    x, y = (way @ right) / (way @ forward) / tan_x, (way @ up) / (way @ forward) / tan_y
    return np.stack([(1 - y) / 2 * SHAPE[0], (1 + x) / 2 * SHAPE[1]], axis=1)


def area(places):
    """Shoelace formula."""
    row, col = places.T
    return 0.5 * abs(row @ np.roll(col, 1) - col @ np.roll(row, 1))


def flat(rig):
    return replace(rig, sheet=replace(rig.sheet, flatness=replace(rig.sheet.flatness, bow_mm=0.0)))


def hard(rig):
    """Which pixels' middles lie in the quadrilateral, by the sides that they are on."""
    places = corners(rig)
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]] + 0.5
    inside = np.ones(SHAPE, bool)
    for a, b in zip(places, np.roll(places, -1, axis=0), strict=True):
        side = (b[0] - a[0]) * (col - a[1]) - (b[1] - a[1]) * (row - a[0])
        inside &= side < 0
    return inside


def test_light_of_a_soft_outline_is_that_of_the_area_it_encloses(rig):
    on = hard(flat(rig))
    picture = np.repeat(on[..., None], 3, axis=-1).astype(np.float32)
    soft = soften(flat(rig), picture, on)
    exact = area(corners(flat(rig)))
    # Sides are told to a quarter of a pixel.
    assert soft[..., 0].sum() == pytest.approx(exact, rel=2e-3)
    edge = (soft[..., 0] > 0.01) & (soft[..., 0] < 0.99)
    assert edge.sum() > 60  # most pixels that the outline crosses are mixed
    assert np.array_equal(soft[30, 45], picture[30, 45])


def test_what_stands_before_the_sheet_keeps_its_edge(rig):
    on = hard(flat(rig))
    on[20:40, 40:50] = False
    picture = np.repeat(on[..., None], 3, axis=-1).astype(np.float32)
    soft = soften(flat(rig), picture, on)
    assert np.array_equal(soft[15:45, 35:55], picture[15:45, 35:55])
