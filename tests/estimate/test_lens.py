"""Whether a lens explains the corners of a sheet.

The truth is the planned camera's own projection.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightplan.estimate.lens import is_explained, lens_place
from lightplan.reports.picture import picture_size
from lightplan.rigfiles import load_rig

PRESETS = ("silver-bookplate-bright", "certificate-a4-bowed", "rainbow-bookmark")


def corners_mm(rig):
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    return np.column_stack([signs * half, np.zeros(4)])


def corners_of(name: str):
    """Return a planned rig, its sheet's corners as its camera sees them, the picture's size."""
    rig = load_rig(name).rig
    shape = picture_size(rig.camera, 2400)
    return rig, rig.camera.project(corners_mm(rig), *shape), shape


@pytest.mark.parametrize("name", PRESETS)
def test_corners_in_their_order_are_explained_by_the_planned_lens(name):
    rig, corners, shape = corners_of(name)
    place = lens_place(rig, corners, shape, None)
    assert np.linalg.norm(place.offset_mm) < 1.0  # sizes of pictures are rounded
    assert is_explained(rig, corners, shape, None)


@pytest.mark.parametrize("name", PRESETS)
@pytest.mark.parametrize("to", ["above", "half as far", "three times as far", "aside"])
def test_a_lens_that_stands_far_off_its_plan_is_found_where_it_stands(name, to):
    """Whole steps of the fit led kilometres away from some of these."""
    rig, _, shape = corners_of(name)
    was = np.array(rig.camera.placement.position_mm)
    far = np.linalg.norm(was)
    place = {
        "above": np.array([0.0, -0.01 * far, far]),
        "half as far": 0.5 * was,
        "three times as far": 3.0 * was,
        "aside": was + np.array([0.6 * far, 0.0, 0.0]),
    }[to]
    stands = replace(rig.camera.placement, position_mm=tuple(place), aim_mm=(0.0, 0.0, 0.0))
    there = replace(rig, camera=replace(rig.camera, placement=stands))
    corners = there.camera.project(corners_mm(rig), *shape)
    found = lens_place(rig, corners, shape, None, focal_share=1e-4, middle_share=1e-4)
    np.testing.assert_allclose(found.offset_mm, place - was, atol=0.01 * far)
    assert is_explained(rig, corners, shape, None)


@pytest.mark.parametrize("name", PRESETS)
@pytest.mark.parametrize("order", [[0, 2, 1, 3], [1, 0, 3, 2]], ids=["crossed", "in a mirror"])
def test_corners_out_of_their_order_are_those_of_no_lens(name, order):
    rig, corners, shape = corners_of(name)
    assert not is_explained(rig, corners[order], shape, None)


@pytest.mark.parametrize("name", PRESETS)
def test_a_speck_is_not_the_sheet_of_a_lens_far_away(name):
    rig, corners, shape = corners_of(name)
    middle = corners.mean(axis=0)
    assert is_explained(rig, middle + (corners - middle) / 4.0, shape, None)
    assert not is_explained(rig, middle + (corners - middle) / 14.0, shape, None)
