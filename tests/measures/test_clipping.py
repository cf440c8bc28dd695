"""Shares of clipped pixels are exact counts."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from lightplan.measures import Background, SheetMaps, measure
from lightplan.scene.look import Look


def values(maps: SheetMaps) -> dict[str, float]:
    return measure(maps, Look(), "gold foil").values_by_name()


def test_clipped_shares_are_exact_per_channel_and_for_all():
    foil = np.zeros((60, 80), np.float32)
    foil[10:50, 20:60] = 1.0  # 1600 pixels of foil, 3200 of paper
    linear = np.full((60, 80, 3), 0.5)
    linear[10:50, 20:24, 0] = 1.0  # 160 foil pixels: red alone
    linear[10:50, 24:26] = 1.0  # 80 foil pixels: all three
    linear[10:50, 26:27] = 0.96  # 40 foil pixels: near, above code 250
    linear[0:8, :, 2] = 1.0  # 640 paper pixels: blue
    got = values(SheetMaps.from_linear(linear, foil, width_mm=80, height_mm=60))
    assert got["foil_clipped_share"] == pytest.approx(240 / 1600, abs=1e-12)
    assert got["foil_clipped_red_share"] == pytest.approx(240 / 1600, abs=1e-12)
    assert got["foil_clipped_green_share"] == pytest.approx(80 / 1600, abs=1e-12)
    assert got["foil_clipped_all_share"] == pytest.approx(80 / 1600, abs=1e-12)
    assert got["foil_near_clipped_share"] == pytest.approx(280 / 1600, abs=1e-12)
    away = 3200 - (42 * 42 - 1600)  # paper that does not touch the foil
    assert got["paper_clipped_share"] == pytest.approx(640 / away, abs=1e-12)
    assert got["paper_clipped_blue_share"] == pytest.approx(640 / away, abs=1e-12)
    assert got["paper_clipped_all_share"] == 0.0


def test_a_bright_halo_round_the_foil_is_no_blank_paper():
    # What a camera's sharpening and a JPEG's waves leave beside dark shapes on white paper.
    foil = np.zeros((240, 320), np.float32)
    foil[40:200:20, 40:280] = foil[41:200:20, 40:280] = foil[42:200:20, 40:280] = 1.0
    near = cv2.dilate(foil, np.ones((3, 3))) > 0
    linear = np.where(near, 1.0, 0.85)
    linear = np.where(foil > 0, 0.2, linear)[..., None].repeat(3, axis=-1)
    got = values(SheetMaps.from_linear(linear, foil, width_mm=80, height_mm=60))
    assert got["paper_clipped_share"] == 0.0
    blank = linear.copy()
    blank[:, 300:] = 1.0  # a sixteenth of the sheet
    got = values(SheetMaps.from_linear(blank, foil, width_mm=80, height_mm=60))
    away = np.count_nonzero(cv2.dilate(foil, np.ones((5, 5))) == 0)
    assert got["paper_clipped_share"] == pytest.approx(20 * 240 / away, abs=1e-12)


def test_code_250_is_the_near_clip_level():
    # sRGB decoding of 250 / 255 (IEC 61966-2-1): 0.955973.
    from lightplan.measures.clipping import NEAR_CLIP_LEVEL
    from lightplan.optics.colour import srgb_decode

    assert pytest.approx(float(srgb_decode(250 / 255)), abs=5e-7) == NEAR_CLIP_LEVEL


def test_the_source_decides_what_is_clipped():
    linear = np.full((40, 40, 3), 0.9)
    clipped = np.zeros((40, 40, 3), bool)
    clipped[:10] = True
    maps = SheetMaps.from_linear(
        linear, np.ones((40, 40)), width_mm=50, height_mm=50, clipped=clipped
    )
    assert values(maps)["foil_clipped_share"] == 0.25


def test_a_white_background_is_reported_and_costs_nothing(sheet):
    from lightplan.measures import judge

    white = Background(linear=np.ones((500, 3)), clipped=np.ones((500, 3), bool))
    plain, surrounded = sheet(), sheet(background=white)
    assert values(surrounded)["background_clipped_share"] == 1.0
    scores = [judge(measure(m, Look(), "silver foil"), Look()).score for m in (plain, surrounded)]
    assert scores[0] == scores[1]


def test_dark_foil_is_the_share_three_stops_below_the_paper(sheet):
    maps = sheet(lambda x, y: np.where(x < 0.0, 0.6 / 2**3.5, 0.6 / 2**2.5), 0.6)
    assert values(maps)["foil_dark_share"] == pytest.approx(0.5, abs=0.02)
