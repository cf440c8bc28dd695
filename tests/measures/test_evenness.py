"""Levels, evenness and gradients against fields whose answers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.measures import SheetMaps, measure
from lightplan.scene.look import Look

FULL_SHEET_SHARE = 0.96  # of a uniform spread, between the 2nd and 98th percentile


def values(maps: SheetMaps, look: Look | None = None, **more) -> dict[str, float]:
    return measure(
        maps, look if look is not None else Look(), "silver foil", **more
    ).values_by_name()


@pytest.mark.parametrize("angle_deg", [-170.0, -90.0, 0.0, 33.0, 90.0, 145.0])
@pytest.mark.parametrize("slope_per_cm", [0.02, 0.2])
def test_a_plane_in_stops_gives_its_slope_and_direction(sheet, angle_deg, slope_per_cm):
    turn = math.radians(angle_deg)

    def plane(x, y):
        return 0.4 * 2.0 ** (slope_per_cm / 10.0 * (x * np.cos(turn) + y * np.sin(turn)))

    got = values(sheet(plane), Look(kind="gradient", direction_rad=turn))
    assert got["foil_gradient_stops_per_cm"] == pytest.approx(slope_per_cm, rel=2e-3)
    off = (got["foil_gradient_direction_deg"] - angle_deg + 180.0) % 360.0 - 180.0
    assert abs(off) < 0.2
    assert got["foil_gradient_residual_stops"] < 2e-3
    # Span = slope x the foil's extent; across there is nothing.
    assert abs(got["foil_gradient_across_stops"]) < 5e-3
    assert got["foil_gradient_span_stops"] > 0.0


def test_the_span_of_a_gradient_is_slope_times_extent(sheet):
    maps = sheet(lambda x, y: 0.4 * 2.0 ** (0.01 * x), mask="all")
    got = values(maps, Look(kind="gradient", direction_rad=0.0))
    # Extent between the middles of the outermost pixels.
    assert got["foil_gradient_span_stops"] == pytest.approx(0.01 * 148.0 * 119 / 120, rel=2e-3)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.05])
@pytest.mark.parametrize("span", [0.0, 0.3, 1.5])
def test_foil_evenness_is_right_within_a_twentieth_of_a_stop_under_noise(sheet, noise, span):
    maps = sheet(lambda x, y: 0.4 * 2.0 ** (span * x / 148.0), mask="all", noise=noise)
    got = measure(maps, Look(), "silver foil")["foil_evenness_stops"]
    # A uniform spread over `span`, of which the 2nd to 98th percentile is 96 %.
    assert got.value == pytest.approx(FULL_SHEET_SHARE * span, abs=0.05)


def test_the_worked_vector_gives_its_coefficient_of_variation(sheet):
    # Five equal bands 100, 90, 80, 95, 85: mean 90, population sigma / mean = 0.078567
    # (worked by hand: variance 50, sqrt(50) / 90).
    def bands(x, y):
        index = np.clip(((x / 148.0 + 0.5) * 5).astype(int), 0, 4)
        return 0.9 * np.array([1.0, 0.9, 0.8, 0.95, 0.85])[index]

    got = values(sheet(paper_field=bands, mask="none"))
    assert got["paper_variation_share"] == pytest.approx(0.078567, abs=1e-6)
    assert math.sqrt(50.0) / 90.0 == pytest.approx(0.078567, abs=5e-7)


@pytest.mark.parametrize(
    ("luminance", "drop", "expected"),
    # CIE 015 lightness, worked from 116 (Y^(1/3)) - 16: white stock .85, grey .5 and .18.
    [
        (0.85, 0.01, 0.3675),
        (0.85, 0.03, 1.11),
        (0.85, 0.05, 1.8628),
        (0.85, 0.08, 3.012),
        (0.85, 0.10, 3.7921),
        (0.85, 0.20, 7.8767),
        (0.5, 0.05, 1.5608),
        (0.5, 0.20, 6.5997),
        (0.18, 0.10, 2.2603),
        (0.18, 0.20, 4.6949),
    ],
)
def test_a_drop_on_the_paper_gives_the_published_lightness_range(sheet, luminance, drop, expected):
    def step(x, y):
        return np.where(x < 30.0, 0.6, 0.6 * (1.0 - drop))

    got = values(sheet(paper_field=step, mask="none"), stock_reflectance=(luminance,) * 3)
    assert got["paper_lightness_range_Lstar"] == pytest.approx(expected, abs=2e-3)


@settings(max_examples=25, deadline=None)
@given(stops=st.floats(-4.0, 0.0), span=st.floats(0.1, 1.5), tilt=st.floats(-3.0, 3.0))
def test_evenness_does_not_change_with_exposure(sheet_builder, stops, span, tilt):
    def field(x, y):
        return 0.3 * 2.0 ** (span * (x * np.cos(tilt) + y * np.sin(tilt)) / 200.0)

    one = sheet_builder(field, lambda x, y: 0.5 + 0.001 * x)
    two = one.with_linear(np.asarray(one.linear) * 2.0**stops)
    a, b = values(one), values(two)
    for name in ("foil_evenness_stops", "foil_gradient_stops_per_cm", "foil_to_paper_stops"):
        assert a[name] == pytest.approx(b[name], abs=0.02)
    assert a["paper_variation_share"] == pytest.approx(b["paper_variation_share"], abs=1e-4)
    assert a["paper_lightness_range_Lstar"] == pytest.approx(
        b["paper_lightness_range_Lstar"], abs=1e-2
    )


@settings(max_examples=25, deadline=None)
@given(slope_x=st.floats(-0.01, 0.01), slope_y=st.floats(-0.01, 0.01))
def test_a_mirrored_map_mirrors_its_gradient(sheet_builder, slope_x, slope_y):
    if math.hypot(slope_x, slope_y) < 5e-4:
        return
    maps = sheet_builder(lambda x, y: 0.3 * 2.0 ** (slope_x * x + slope_y * y), mask="disk")
    flipped = SheetMaps.from_linear(
        np.asarray(maps.linear)[:, ::-1],
        np.asarray(maps.foil)[:, ::-1],
        width_mm=maps.width_mm,
        height_mm=maps.height_mm,
    )
    one = values(maps)["foil_gradient_direction_deg"]
    two = values(flipped)["foil_gradient_direction_deg"]
    assert math.cos(math.radians(180.0 - one - two)) == pytest.approx(1.0, abs=1e-4)


def test_thin_print_on_the_paper_is_not_unevenness_but_a_shadow_is(sheet):
    def printed(x, y):
        return np.where(abs(x - 60.0) < 0.7, 0.05, 0.6)

    def shadow(x, y):
        return np.where(x > 45.0, 0.3, 0.6)

    assert values(sheet(paper_field=printed))["paper_lightness_range_Lstar"] < 0.2
    assert values(sheet(paper_field=shadow))["paper_lightness_range_Lstar"] > 20.0


def test_glare_that_does_not_clip_is_found_and_a_slow_fall_is_not(sheet):
    def glare(x, y):
        return 0.5 * (1.0 + 0.5 * (np.hypot(x + 62.0, y - 40.0) < 9.0))

    def fall(x, y):
        return 0.5 * (1.0 + 0.002 * x)

    found = values(sheet(paper_field=glare))
    assert found["paper_clipped_share"] == 0.0
    assert found["paper_glare_share"] == pytest.approx(
        math.pi * 81.0 / (148.0 * 111.0 * 0.58), rel=0.25
    )
    assert values(sheet(paper_field=fall))["paper_glare_share"] == 0.0
