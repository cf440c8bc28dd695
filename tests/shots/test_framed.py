"""A printed frame that was taken for the sheet's edge is told, and the sheet round it found.

No source but for the last: plain projective geometry, worked by hand.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from lightplan.scene.look import Look
from lightplan.shots.context import PhotoContext
from lightplan.shots.formats.reading import read_shot
from lightplan.shots.sheet.corners import SheetFound
from lightplan.shots.sheet.framed import SHEET, likeliest_sides, printed_frame, sheet_round
from lightplan.shots.sheet.location import place


def framed_artwork() -> np.ndarray:
    """A frame 2 pixels wide, 10 in from each side of 100 x 200, and a dot."""
    art = np.zeros((100, 200))
    art[10:90, 10:190] = 1.0
    art[12:88, 12:188] = 0.0
    art[50, 100] = 1.0
    return art


def test_both_outlines_of_a_frame_are_told_in_shares_of_the_sheet():
    outer, inner = printed_frame(framed_artwork())
    assert outer == pytest.approx((0.05, 0.95, 0.1, 0.9))
    assert inner == pytest.approx((0.06, 0.94, 0.12, 0.88))


def test_shapes_without_a_frame_and_foil_to_the_edge_have_none():
    dots = np.zeros((100, 200))
    dots[20::30, 30::40] = 1.0
    assert printed_frame(dots) == ()
    assert printed_frame(np.ones((100, 200))) == ()


def test_the_sheet_round_a_frame_lies_where_the_frame_says():
    seen = np.array([[100.0, 60.0], [100.0, 240.0], [180.0, 240.0], [180.0, 60.0]])  # row, column
    found = SheetFound(seen, (400, 400), 0.9, "sides")
    sheet = sheet_round(found, (0.05, 0.95, 0.1, 0.9))
    assert sheet is not None
    assert sheet.corners == pytest.approx(
        np.array([[90.0, 50.0], [90.0, 250.0], [190.0, 250.0], [190.0, 50.0]])
    )
    beyond = SheetFound(seen - 99.0, (400, 400), 0.9, "sides")
    assert sheet_round(beyond, (0.05, 0.95, 0.1, 0.9)) is None


def test_each_side_is_chosen_by_itself():
    outer, inner = printed_frame(framed_artwork())
    truth = (SHEET[0], outer[1], SHEET[2], inner[3])
    found = likeliest_sides(
        (outer, inner), lambda s: sum(a == b for a, b in zip(s, truth, strict=True)) / 4, 0.95
    )
    assert found == truth


def test_a_frame_that_the_plan_is_near_to_is_still_told():
    """The sheet of a photograph of which the plan's place explains 85 %, its frame 98 %.

    From the path tracer (`../reference/evenings`); its true corners are those of the rendered rig.
    """
    folder = Path(__file__).parents[1] / "reference/evenings"
    art = np.asarray(Image.open(folder / "e75_artwork.png"), float) / 255
    planned = np.array([[0.1212, 0.2138], [0.1212, 0.7862], [0.8612, 0.8781], [0.8612, 0.1219]])
    context = PhotoContext(
        width_mm=90.0, height_mm=120.0, look=Look(kind="rainbow"), half_lit=True,
        stock_reflectance=(0.03, 0.03, 0.03), artwork=art, expected=planned,
    )  # fmt: skip
    laid, _ = place(read_shot(folder / "e75_right_1.jpg"), context)
    assert laid
    true = np.array([[83.5, 109.8], [67.9, 449.3], [536.7, 530.4], [563.5, 86.2]])
    assert np.abs(laid.found.corners - true).max() < 1.5
    assert laid.segmented.agreement > 0.95
