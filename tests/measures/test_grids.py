"""The same light is judged alike, however many pixels the squared sheet has."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from scipy import ndimage

from lightplan.light import Detail, Layers, layers_of
from lightplan.light.exposure import exposure_of, foil_share
from lightplan.measures import SheetMaps, judge, measure
from lightplan.measures.evenness import measures as evenness_measures
from lightplan.measures.levels import Levels
from lightplan.rigfiles import load_rig

if TYPE_CHECKING:
    from lightplan.scene import Rig

LENGTHS = (240, 600, 1200)
POINTS = 3.0


def at_length(rig: Rig, layers: Layers, long_side: int) -> SheetMaps:
    """The squared sheet, its longer side so many pixels, of layers read between their points."""
    sheet = rig.sheet
    scale = long_side / max(sheet.width_mm, sheet.height_mm)
    cols, rows = round(sheet.width_mm * scale), round(sheet.height_mm * scale)
    x = ((np.arange(cols) + 0.5) / cols - 0.5) * sheet.width_mm
    y = (0.5 - (np.arange(rows) + 0.5) / rows) * sheet.height_mm
    col = np.interp(x, layers.sheet_x_mm, np.arange(len(layers.sheet_x_mm)))
    row = np.interp(-y, -layers.sheet_y_mm, np.arange(len(layers.sheet_y_mm)))
    place = np.stack(np.meshgrid(row, col, indexing="ij"))

    def read(layer: np.ndarray) -> np.ndarray:
        planes = [
            ndimage.map_coordinates(layer[..., c], place, order=1, mode="nearest") for c in range(3)
        ]
        return np.stack(planes, axis=-1)

    share = foil_share(rig, *np.meshgrid(x, y), blur_mm=sheet.width_mm / cols)
    paper, foil = read(layers.sheet_paper), read(layers.sheet_foil)
    mixed = paper + share[..., None] * (foil - paper)
    return SheetMaps.from_linear(
        (mixed / exposure_of(rig, layers).clip_cd_m2).astype(np.float32),
        share,
        width_mm=sheet.width_mm,
        height_mm=sheet.height_mm,
    )


@pytest.mark.parametrize(
    "name",
    ["silver-bookplate-bright", "copper-label-gradient", "gold-card-above", "brushed-plant-tag"],
)
def test_the_score_does_not_hang_on_the_grid(name):
    rig = load_rig(name).rig
    layers = layers_of(rig, Detail(camera_rows=20, camera_cols=30))
    kind, stock = rig.sheet.foil.judged_kind, rig.sheet.paper.reflectance
    found = [
        measure(at_length(rig, layers, side), rig.look, kind, stock_reflectance=stock)
        for side in LENGTHS
    ]
    scores = [judge(one, rig.look).score for one in found]
    assert max(scores) - min(scores) < POINTS
    metal = [one["reads_as_metal_share"].value for one in found]
    assert max(metal) - min(metal) < 0.06


def test_a_band_beside_fine_lines_is_there_on_every_grid():
    """Where fine lines and a star alone show the dark beside a band, some grids lost it."""
    rig = load_rig("certificate-a4-bowed").rig
    layers = layers_of(rig, Detail(camera_rows=20, camera_cols=30))
    kind, stock = rig.sheet.foil.judged_kind, rig.sheet.paper.reflectance
    found = [
        measure(at_length(rig, layers, side), rig.look, kind, stock_reflectance=stock)
        for side in (240, 400, 880, 895, 905, 920, 940)
    ]
    scores = [judge(one, rig.look).score for one in found]
    assert max(scores) - min(scores) < 5.0
    assert min(one["foil_band_stops"].value for one in found) > 1.5


def test_dark_strokes_of_a_pixel_do_not_come_out_as_nothing():
    """A photograph shows some strokes darker than the artwork's share in their pixels says."""
    crisp = np.zeros((240, 320), np.float32)
    crisp[40:200, 30:290] = np.where(np.arange(260) % 20 < 2, 1.0, 0.0)
    share = ndimage.uniform_filter(crisp, (1, 3))
    picture = np.repeat((0.8 * (1 - crisp) + 0.025 * crisp)[..., None], 3, axis=-1)
    maps = SheetMaps.from_linear(picture, share, width_mm=120, height_mm=90)
    assert Levels.of(maps).foil_stops.min() > np.log2(0.025) - 3.5


def test_bright_foil_in_the_pixels_of_dark_paper_is_taken_out():
    # Even black lettering in metal of 50 times its light: its range is nought, whatever the grid.
    x = np.arange(600)
    lettering = (np.abs((x % 60) - 30) < 4)[None, :] & np.ones((200, 1), bool)
    share = ndimage.uniform_filter((~lettering).astype(np.float32), (1, 5))[:, ::2]
    picture = np.repeat((0.01 + share * 0.49)[..., None], 3, axis=-1)
    maps = SheetMaps.from_linear(picture, share, width_mm=120, height_mm=80)
    found = evenness_measures(maps, Levels.of(maps), (0.04, 0.04, 0.04))
    assert found["paper_lightness_range_Lstar"][0] < 1.0
