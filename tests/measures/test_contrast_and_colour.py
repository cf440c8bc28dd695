"""Contrast and colour against scikit-image and the physics of the foils."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from lightplan.measures import SheetMaps, judge, measure
from lightplan.measures.colours import expected_lab
from lightplan.optics.colour import srgb_encode
from lightplan.optics.materials import FOIL_KINDS, foil_curve
from lightplan.scene.look import Look

GOLD = np.array([0.62, 0.45, 0.2])
PAPER = np.array([0.55, 0.55, 0.55])


def coloured(foil, paper, *, light=(1.0, 1.0, 1.0)) -> SheetMaps:
    mask = np.zeros((60, 80), np.float32)
    mask[15:45, 20:60] = 1.0
    linear = np.where(mask[..., None] > 0, foil, paper) * np.array(light)
    return SheetMaps.from_linear(linear, mask, width_mm=120, height_mm=90)


def values(maps, kind="gold foil", **more):
    return measure(maps, Look(), kind, **more).values_by_name()


def skimage_lab(linear):
    return rgb2lab(srgb_encode(np.asarray(linear, float))[None, None, :])[0, 0]


def test_the_seen_contrast_is_ciede2000_as_scikit_image_has_it():
    got = values(coloured(GOLD, PAPER))["foil_paper_contrast_dE00"]
    want = deltaE_ciede2000(skimage_lab(GOLD), skimage_lab(PAPER))
    # scikit-image's white point has fewer digits than the sRGB matrix.
    assert got == pytest.approx(float(want), abs=0.05)


def test_the_cast_is_the_chroma_scikit_image_finds_on_paper_of_its_lightness():
    light = np.array([1.1, 1.0, 0.85])
    got = values(coloured(GOLD, PAPER, light=light))
    luminance = float(light @ [0.2126, 0.7152, 0.0722])
    lab = skimage_lab(0.85 * light / luminance)
    assert got["paper_cast_Cab"] == pytest.approx(float(np.hypot(lab[1], lab[2])), abs=0.1)
    assert got["paper_cast_hue_deg"] == pytest.approx(
        float(np.degrees(np.arctan2(lab[2], lab[1]))), abs=0.5
    )


def test_coloured_stock_is_not_a_cast_when_it_is_known():
    stock = (0.7, 0.5, 0.3)
    maps = coloured(GOLD, np.array(stock) * 0.8)
    assert values(maps)["paper_cast_Cab"] > 20.0
    assert values(maps, stock_reflectance=stock)["paper_cast_Cab"] < 0.1


def test_a_cast_counts_the_less_the_darker_the_stock_is():
    """On navy a tenth more blue is not seen, and a lens's haze of foil looks like it."""
    light = np.array([1.0, 1.0, 1.12])
    found = []
    for stock in ((0.85, 0.85, 0.85), (0.42, 0.30, 0.19), (0.035, 0.045, 0.085)):
        maps = coloured(GOLD, np.array(stock), light=light)
        found.append(values(maps, stock_reflectance=stock)["paper_cast_Cab"])
    assert 5.0 < found[0] < 8.0
    assert found[1] == pytest.approx(0.75 * found[0], rel=0.05)
    assert found[2] < 0.35 * found[0]


@pytest.mark.parametrize("kind", FOIL_KINDS)
def test_each_foil_under_any_light_has_its_own_colour(kind):
    own = np.asarray(foil_curve(kind).evaluate(np.array([0.966])))[0]
    got = values(coloured(own * 0.7, PAPER, light=(1.0, 0.9, 0.7)), kind)
    assert got["foil_colour_error_dE00"] < 0.5
    if "foil_hue_error_deg" in got:
        assert abs(got["foil_hue_error_deg"]) < 2.0


def test_hues_of_the_kinds_lie_where_their_names_say():
    # Hue ranges of the trade's colour names: common practice, no source.
    def hue(kind):
        lab = expected_lab(kind)
        return float(np.degrees(np.arctan2(lab[2], lab[1])) % 360.0)

    assert 70.0 < hue("gold foil") < 105.0
    assert 30.0 < hue("copper foil") < 80.0
    assert np.hypot(*expected_lab("silver foil")[1:]) < 4.0


def test_copper_called_gold_is_seen():
    copper = np.asarray(foil_curve("copper foil").evaluate(np.array([0.966])))[0]
    assert values(coloured(copper * 0.7, PAPER))["foil_colour_error_dE00"] > 10.0


def test_the_ratio_is_in_stops_and_refers_to_white_stock(sheet):
    got = values(sheet(0.8, 0.2), "silver foil", stock_reflectance=(0.2, 0.2, 0.2))
    assert got["foil_to_paper_stops"] == pytest.approx(2.0, abs=1e-3)
    assert got["foil_to_white_stops"] == pytest.approx(2.0 + np.log2(0.2 / 0.85), abs=1e-3)


def test_the_sign_flips_over_the_share_of_foil_below_the_paper(sheet):
    got = values(sheet(lambda x, y: np.where(x > 26.0, 0.3, 0.8), 0.5))
    # The foil reaches from -51.8 to 51.8 mm: a quarter lies beyond 26 mm.
    assert got["foil_sign_flip_share"] == pytest.approx(0.25, abs=0.03)


def test_foil_as_light_as_the_paper_beside_it_is_lost(sheet):
    def half(x, y):
        return np.where(x > 0.0, 0.5, 0.2)

    got = values(sheet(half, 0.5))
    assert got["foil_lost_share"] == pytest.approx(0.5, abs=0.03)

    # Greys apart by as much as scikit-image says is halfway from lost to told.
    def apart(grey):
        lab = (skimage_lab(np.full(3, level)) for level in (grey, 0.5))
        return float(deltaE_ciede2000(*lab))

    halfway = float(
        np.interp(4.0, [apart(g) for g in np.linspace(0.5, 0.6, 21)], np.linspace(0.5, 0.6, 21))
    )
    assert values(sheet(halfway, 0.5))["foil_lost_share"] == pytest.approx(0.5, abs=0.03)


def test_light_that_falls_off_over_foil_and_paper_alike_loses_nothing(sheet):
    def light(x, y):
        return 2.0 ** (-(x + 60.0) / 60.0)

    got = values(sheet(lambda x, y: 0.9 * light(x, y), lambda x, y: 0.45 * light(x, y)))
    assert got["foil_lost_share"] < 0.01


def test_no_picture_is_kept_half_of_whose_foil_is_lost(sheet):
    def judged(share):
        def foil(x, y):  # it runs from dark to a third of a stop above the paper, or to the paper
            return np.where(x > 103.6 * (0.5 - share), 0.66, np.where(x > -35.0, 0.95, 0.2))

        measures = measure(sheet(foil, 0.66), Look(), "silver foil")
        return judge(measures, Look())

    seen, lost = judged(0.3), judged(0.7)
    assert (seen.verdict, lost.verdict) == ("keep", "adjust")
    assert lost.score < 75.0


def test_black_foil_on_black_stock_is_sunk(sheet):
    """Lightness of the greys and of the blue by scikit-image; that it cannot be read: by eye."""
    deep_blue = np.array([0.002, 0.001, 0.05])  # linear
    assert 2.0 < skimage_lab(deep_blue)[0] < 5.0
    black, grey = np.full(3, 0.003), np.full(3, 0.02)  # linear
    assert skimage_lab(black)[0] < 5.0
    assert skimage_lab(grey)[0] > 15.0
    assert float(deltaE_ciede2000(skimage_lab(deep_blue), skimage_lab(black))) > 6.0

    def foil(x, y):  # a third of it deep blue, the rest bright
        return np.where((x > -17.3)[..., None], np.full(3, 0.5), deep_blue)

    def got(stock):
        of_paper = np.ones((90, 120, 1)) * stock
        return measure(sheet(foil, of_paper), Look(), None).values_by_name()

    on_black, on_grey = got(black), got(grey)
    assert on_black["foil_sunk_share"] == pytest.approx(1 / 3, abs=0.03)
    assert on_grey["foil_sunk_share"] < 0.01


def test_split_and_rim_are_recovered(sheet):
    def split(x, y):
        return np.where(x > -10.0, 0.8, 0.2)

    look = Look(kind="split", direction_rad=0.0)
    got = measure(sheet(split), look, None).values_by_name()
    # (-10 + 51.8) / 103.6 of the foil's length.
    assert got["split_edge_share"] == pytest.approx(0.4035, abs=0.02)
    assert got["split_scatter_stops"] < 0.2
    # The darker half holds 10 / 51.8 of bright foil: 2 stops less that share.
    assert got["split_separation_stops"] == pytest.approx(2.0 * (1.0 - 10.0 / 51.8), abs=0.05)

    def rim(x, y):
        return np.where((abs(x) > 45.0) | (abs(y) > 29.0), 0.4, 0.1)

    assert values(sheet(rim))["foil_rim_stops"] == pytest.approx(2.0, abs=0.05)


def test_a_rainbow_is_colourful_and_a_single_colour_has_one_hue(sheet):
    def rainbow(x, y):
        turn = 0.15 * x
        colour = np.stack([np.cos(turn), np.cos(turn - 2.1), np.cos(turn + 2.1)], axis=-1)
        return 0.12 + 0.4 * np.maximum(colour, 0.0)

    many = values(sheet(rainbow))
    one = values(coloured(GOLD, PAPER))
    grey = values(sheet(0.5, noise=0.02))
    assert many["foil_hue_spread_share"] > 0.6
    assert one["foil_hue_spread_share"] < 0.01
    assert grey["foil_hue_spread_share"] < 0.1
    assert many["foil_colourfulness_Cab"] > 40.0 > 2.0 > grey["foil_colourfulness_Cab"]
    lab = skimage_lab(GOLD)
    assert one["foil_colourfulness_Cab"] == pytest.approx(float(np.hypot(lab[1], lab[2])), abs=0.1)


def test_thin_artwork_is_unmixed(sheet):
    # Lines thinner than a pixel: no pixel is all foil, the levels still come out.
    rows, cols = 90, 120
    foil = np.zeros((rows, cols), np.float32)
    foil[20:70:3, 20:100] = 0.6
    x = ((np.arange(cols) + 0.5) / cols - 0.5)[None, :, None] * 148.0 * np.ones((rows, 1, 1))
    metal = 0.6 * 2.0 ** (x / 100.0) * np.array([1.0, 0.8, 0.4])
    paper = 0.3 * np.ones((rows, cols, 3))
    linear = foil[..., None] * metal + (1.0 - foil[..., None]) * paper
    thin = SheetMaps.from_linear(linear, foil, width_mm=148, height_mm=111)
    solid = SheetMaps.from_linear(
        np.where(foil[..., None] > 0, metal, paper),
        (foil > 0).astype(np.float32),
        width_mm=148,
        height_mm=111,
    )
    one, two = values(thin), values(solid)
    for name in (
        "foil_to_paper_stops",
        "foil_evenness_stops",
        "foil_gradient_stops_per_cm",
        "foil_colour_error_dE00",
    ):
        assert one[name] == pytest.approx(two[name], abs=0.02), name
