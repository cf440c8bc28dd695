"""Whether a lens explains the corners of a sheet.

The truth is the planned camera's own projection.
"""

from __future__ import annotations

import numpy as np
import pytest

from lightplan.estimate.lens import is_explained, lens_place
from lightplan.reports.picture import picture_size
from lightplan.rigfiles import load_rig

PRESETS = ("silver-bookplate-bright", "certificate-a4-bowed", "rainbow-bookmark")


def corners_of(name: str):
    """Return a planned rig, its sheet's corners as its camera sees them, the picture's size."""
    rig = load_rig(name).rig
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    signs = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
    shape = picture_size(rig.camera, 2400)
    return rig, rig.camera.project(np.column_stack([signs * half, np.zeros(4)]), *shape), shape


@pytest.mark.parametrize("name", PRESETS)
def test_corners_in_their_order_are_explained_by_the_planned_lens(name):
    rig, corners, shape = corners_of(name)
    place = lens_place(rig, corners, shape, None)
    assert np.linalg.norm(place.offset_mm) < 1.0  # sizes of pictures are rounded
    assert is_explained(rig, corners, shape, None)


@pytest.mark.parametrize("name", PRESETS)
def test_corners_of_a_sheet_named_upside_down_are_those_of_no_lens(name):
    rig, corners, shape = corners_of(name)
    assert not is_explained(rig, np.roll(corners, 2, axis=0), shape, None)
