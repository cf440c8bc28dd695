"""What surrounds the sheet: dark corners, edges of cards, a background that fights the foil."""

from __future__ import annotations

import numpy as np
import pytest

from lightplan.errors import BadInput
from lightplan.measures.frame import FrameJudgement, in_frame, judge_frame

ROWS, COLS = 400, 600
Y, X = np.mgrid[0:ROWS, 0:COLS]
SHEET = (abs(X - 300) < 170) & (abs(Y - 200) < 120)
FOIL = (abs(X - 300) < 90) & (abs(Y - 200) < 50)


def frame(ground):
    rng = np.random.default_rng(2)
    level = np.where(FOIL, 0.8, np.where(SHEET, 0.65, ground))
    noisy = level * (1.0 + 0.02 * rng.standard_normal(level.shape))
    return np.repeat(noisy[..., None], 3, axis=-1)


def test_a_clean_table_has_no_fault():
    grain = 0.2 * (1.0 + 0.1 * np.sin(Y / 3.0 + np.sin(X / 40.0)))
    found = judge_frame(frame(grain), SHEET, FOIL)
    assert found.darkest_corner < 5.0
    assert found.longest_edge_share < 0.1
    assert found.background_over_foil < -20.0


def test_a_dark_corner_is_told():
    shade = np.exp(-np.square(np.hypot(X, Y) / 60.0))
    found = judge_frame(frame(0.25 * (1.0 - 0.97 * shade)), SHEET, FOIL)
    assert found.darkest_corner > 15.0


def test_the_edge_of_a_card_is_told_and_a_soft_fall_of_light_is_not():
    card = judge_frame(frame(np.where(X + 0.3 * Y > 560, 0.5, 0.15)), SHEET, FOIL)
    assert card.longest_edge_share > 0.6  # the sheet hides the rest of it
    soft = judge_frame(frame(0.15 + 0.2 * X / COLS), SHEET, FOIL)
    assert soft.longest_edge_share == 0.0


def test_a_background_lighter_than_the_foil_fights_it():
    found = judge_frame(frame(0.98), SHEET, FOIL)
    # L* 99.2 beside 91.6: the lightness of 0.98 and of 0.8 (CIE 15).
    assert found.background_over_foil == pytest.approx(7.6, abs=1.0)


def test_a_sheet_that_fills_the_frame_leaves_nothing_to_judge():
    found = judge_frame(frame(0.2), np.ones_like(SHEET), FOIL)
    assert found.measures() == FrameJudgement(0.0, 0.0, 0.0).measures()


def test_a_sheet_is_found_in_the_frame_by_its_corners():
    corners = [[80, 130], [80, 470], [320, 470], [320, 130]]
    share = np.zeros((60, 85))
    share[15:45, 20:65] = 1.0
    on_sheet, on_foil = in_frame(corners, (ROWS, COLS), share)
    assert np.mean(on_sheet == SHEET) > 0.99
    assert on_foil[200, 300]
    assert not on_foil[200, 150]
    # 30 of 60 rows and 45 of 85 columns
    assert on_foil.sum() / on_sheet.sum() == pytest.approx(0.5 * 45 / 85, rel=0.03)


def test_masks_of_another_shape_are_refused():
    with pytest.raises(BadInput, match="frame must be a picture"):
        judge_frame(frame(0.2), SHEET[:10], FOIL)
