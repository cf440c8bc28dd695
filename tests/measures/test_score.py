"""The verdict: gates, parts, looks, and that a search can climb it."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from lightplan.measures import SheetMaps, find_faults, judge, measure, merit
from lightplan.measures.frame import FrameJudgement
from lightplan.measures.rules import gates_of, parts_of
from lightplan.measures.verdict import NO_JUDGEMENT
from lightplan.scene.look import LOOK_KINDS, Look

RIGHT = Look(kind="gradient", direction_rad=0.0, strength_stops=2.0)


def verdict(maps: SheetMaps, look: Look, kind: str = "silver foil"):
    return judge(measure(maps, look, kind), look)


def rainbow(x, y):
    turn = 0.15 * x
    colour = np.stack([np.cos(turn), np.cos(turn - 2.1), np.cos(turn + 2.1)], axis=-1)
    return 0.12 + 0.4 * np.maximum(colour, 0.0)


FLAT = Look(kind="flat copy")


def band(x, y):
    return 0.15 + 0.75 * np.exp(-((y / 14.0) ** 2))


GOOD = {
    "bright field": (
        Look(direction_rad=0.0), lambda x, y: 0.62 * 2.0 ** (x / 75.0), 0.42,
    ),
    "flat copy": (FLAT, 0.93, 0.45),
    "bright band": (
        Look(kind="bright band", direction_rad=0.0, strength_stops=2.0), band, 0.75,
    ),
    "gradient": (RIGHT, lambda x, y: 0.45 * 2.0 ** (x / 52.0), 0.8),
    "dark field": (
        Look(kind="dark field"),
        lambda x, y: np.where((abs(x) > 44.0) | (abs(y) > 28.0), 0.3, 0.05), 0.75,
    ),
    "split": (
        Look(kind="split", direction_rad=0.0), lambda x, y: np.where(x > 4.0, 0.9, 0.225), 0.6,
    ),
    "rainbow": (Look(kind="rainbow"), rainbow, 0.75),
}  # fmt: skip


@pytest.mark.parametrize("kind", LOOK_KINDS)
def test_a_sheet_made_for_a_look_is_kept_by_it(sheet, kind):
    look, foil, paper = GOOD[kind]
    found = verdict(sheet(foil, paper), look)
    assert found.verdict == "keep", found.reasons
    assert found.score > 85.0
    assert sum(part.weight for part in found.parts) == pytest.approx(100.0)
    assert found.score == pytest.approx(
        sum(p.points for p in found.parts) * math.prod(g.factor for g in found.gates)
    )


@pytest.mark.parametrize("kind", LOOK_KINDS)
def test_each_look_prefers_its_own_sheet(sheet, kind):
    look = GOOD[kind][0]
    scores = {
        other: verdict(sheet(foil, paper), look).score for other, (_, foil, paper) in GOOD.items()
    }
    assert max(scores, key=scores.__getitem__) == kind, scores


@pytest.mark.parametrize("kind", LOOK_KINDS)
def test_weights_add_up_to_a_hundred(kind):
    assert sum(rule.weight for rule in parts_of(Look(kind=kind))) == pytest.approx(100.0)


def test_silver_that_matches_white_stock_is_not_kept(sheet):
    # Common practice, no source: uniformly bright silver disappears into white paper.
    found = verdict(sheet(0.8, 0.8), Look())
    assert found.verdict != "keep"
    assert any("hardly differs from the paper" in reason for reason in found.reasons)
    on_dark = verdict(sheet(0.9, 0.05), Look())
    stock = judge(
        measure(sheet(0.9, 0.05), Look(), "silver foil", stock_reflectance=(0.05,) * 3), Look()
    )
    assert stock.score > found.score
    assert stock.score > on_dark.score  # knowing the stock, the paper is not too dark


def test_clipped_foil_costs_the_verdict(sheet):
    clear = sheet(0.9, 0.5)
    blown = sheet(lambda x, y: np.where(abs(x) < 12.0, 1.2, 0.9), 0.5)
    assert verdict(clear, FLAT).verdict == "keep"
    assert verdict(blown, FLAT).verdict == "retake"


def test_predicted_and_photographed_pictures_of_one_light_score_alike(sheet):
    def spot(x, y):
        return 0.7 + 2.0 * np.exp(-((x - 20.0) ** 2 + y**2) / 8.0)

    open_ended, stopped = sheet(spot, 0.5), sheet(spot, 0.5, saturate=True)
    for kind in LOOK_KINDS:
        look = Look(kind=kind)
        assert verdict(open_ended, look).score == verdict(stopped, look).score


def test_the_score_tells_its_uncertainty_and_it_grows_with_noise_and_doubt(sheet):
    quiet = verdict(sheet(0.6, 0.35), Look()).uncertainty
    noisy = verdict(sheet(0.6, 0.35, noise=0.1), Look()).uncertainty
    doubtful = verdict(sheet(0.6, 0.35, confidence=0.6), Look()).uncertainty
    assert quiet < noisy
    assert quiet < doubtful


@pytest.mark.parametrize(
    ("more", "word"), [({"mask": "none"}, "foil"), ({"confidence": 0.3}, "artwork")]
)
def test_what_cannot_be_judged_says_so(sheet, more, word):
    found = verdict(sheet(**more), Look())
    assert (found.score, found.verdict) == (None, "cannot tell")
    assert word in " ".join(found.reasons)


def test_a_sheet_half_out_of_the_picture_cannot_be_judged(sheet):
    maps = sheet()
    valid = np.ones(maps.foil.shape, bool)
    valid[:, 60:] = False
    part = SheetMaps.from_linear(maps.linear, maps.foil, width_mm=148, height_mm=111, valid=valid)
    assert verdict(part, Look()).verdict == "cannot tell"
    assert merit(measure(part, Look(), "silver foil"), Look()) == NO_JUDGEMENT


def test_what_is_not_in_the_picture_is_said(sheet):
    maps = sheet(0.9, 0.5)
    valid = np.ones(maps.foil.shape, bool)
    valid[:, 55:] = False
    part = SheetMaps.from_linear(maps.linear, maps.foil, width_mm=148, height_mm=111, valid=valid)
    found = verdict(part, FLAT)
    assert found.score is None
    assert re.search(r"54% of the sheet is outside the picture: step back", found.reasons[0])


def test_a_sheet_that_is_small_in_the_frame_has_a_finding(sheet):
    maps, small = sheet(0.93, 0.45), {"frame_fill_share": (0.26, 0.0)}
    found = measure(maps, FLAT, "silver foil").joined(small)
    assert judge(found, FLAT).verdict != "keep"
    assert [f.code for f in find_faults(maps, found, FLAT)] == ["sheet small in the frame"]


@pytest.mark.parametrize(
    ("around", "code"),
    [
        (FrameJudgement(40.0, 0.0, 0.0), "dark corner"),
        (FrameJudgement(0.0, 0.9, 0.0), "edge in the frame"),
        (FrameJudgement(0.0, 0.0, 35.0), "background fights the foil"),
    ],
)
def test_what_surrounds_the_sheet_belongs_to_the_picture(sheet, around, code):
    maps = sheet(0.93, 0.45)
    clean = measure(maps, FLAT, "silver foil").joined(FrameJudgement(5.0, 0.1, -20.0).measures())
    assert judge(clean, FLAT).verdict == "keep"
    assert judge(clean, FLAT).score == judge(measure(maps, FLAT, "silver foil"), FLAT).score
    found = clean.joined(around.measures())
    assert judge(found, FLAT).verdict == "adjust"
    assert [f.code for f in find_faults(maps, found, FLAT)] == [code]


def test_dark_stock_may_be_shown_dark_and_white_stock_may_not(sheet):
    # White stock at L* 85 is the limit; black lettering at a fifth of its light is no fault.
    values = [
        measure(sheet(0.9, stock * part), FLAT, None, stock_reflectance=(stock,) * 3)
        for stock, part in ((0.85, 0.5), (0.04, 0.2))
    ]
    white, black = (found["paper_tone_Lstar"].value for found in values)
    assert white < -20.0
    assert black > -9.0


def test_goods_all_of_metal_are_judged_without_paper(sheet):
    found = verdict(sheet(0.9, mask="all"), FLAT, "aluminium")
    assert found.verdict == "keep"
    assert sum(part.weight for part in found.parts) == pytest.approx(100.0)
    assert any("even paper" in reason for reason in found.reasons)


def test_unsharp_photographs_are_retaken(sheet):
    look = FLAT
    measures = measure(sheet(0.9, 0.5), look, "silver foil")
    sharp = judge(measures.joined({"sharpness_resolved_count": (800.0, 10.0)}), look)
    soft = judge(measures.joined({"sharpness_resolved_count": (150.0, 10.0)}), look)
    assert sharp.verdict == "keep"
    assert soft.verdict == "retake"
    assert sharp.score == judge(measures, look).score


@pytest.mark.parametrize("exposure", np.linspace(-13.0, 6.0, 39))
def test_merit_climbs_towards_a_good_exposure_from_anywhere(sheet, exposure):
    # The score is nought at both ends of this range; the merit still shows the way.
    maps, look = sheet(0.85, 0.45), Look()
    ways = [
        merit(measure(maps.with_linear(np.asarray(maps.linear) * 2.0**stop), look, None), look)
        for stop in (exposure, exposure + 0.1)
    ]
    if exposure < -0.5:
        assert ways[1] > ways[0]
    if exposure > 0.5:
        assert ways[1] < ways[0]


@settings(max_examples=40, deadline=None)
@given(data=st.data(), kind=st.sampled_from(LOOK_KINDS))
def test_merit_orders_pictures_as_the_score_does(sheet_builder, data, kind):
    look, scores = Look(kind=kind), []
    for _ in range(2):
        level = data.draw(st.floats(0.01, 1.1))
        slope = data.draw(st.floats(-0.02, 0.02))
        paper = data.draw(st.floats(0.1, 1.0))
        maps = sheet_builder(lambda x, y, a=level, b=slope: a * 2.0 ** (b * x), paper)
        measures = measure(maps, look, "silver foil")
        scores.append((judge(measures, look).score, merit(measures, look)))
        # From 30 % of blank foil the merit also counts how far above the clip level it is.
        if measures["foil_clipped_share"].value > 0.3:
            return
    (score_1, merit_1), (score_2, merit_2) = scores
    if min(score_1, score_2) > 1.0:
        assert (score_1 - score_2) * (merit_1 - merit_2) >= -1e-9
        assert merit_1 == pytest.approx(math.log(score_1 / 100.0), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(
    data=st.data(),
    rows=st.integers(4, 40),
    cols=st.integers(4, 40),
    kind=st.sampled_from(LOOK_KINDS),
    confidence=st.floats(0.0, 1.0),
)
def test_any_map_is_measured_without_a_crash_or_a_nan(data, rows, cols, kind, confidence):
    level = st.floats(0.0, 50.0, width=32) | st.sampled_from([0.0, 1.0, np.nan, np.inf, -0.1])
    linear = data.draw(hnp.arrays(np.float32, (rows, cols, 3), elements=level, fill=level))
    foil = data.draw(hnp.arrays(np.float32, (rows, cols), elements=st.floats(0, 1, width=32)))
    maps = SheetMaps.from_linear(linear, foil, width_mm=60.0, height_mm=40.0, confidence=confidence)
    look = Look(kind=kind)
    measures = measure(maps, look, "gold foil")
    assert all(math.isfinite(m.value) and m.uncertainty >= 0.0 for m in measures.values())
    found = judge(measures, look)
    if found.score is not None:
        assert 0.0 <= found.score <= 100.0
        assert math.isfinite(found.uncertainty)
    assert math.isfinite(merit(measures, look))
    for finding in find_faults(maps, measures, look):
        assert 0.0 <= finding.gain <= 100.0
        assert abs(finding.where_mm[0]) <= 30.0
        assert abs(finding.where_mm[1]) <= 20.0


def test_every_gate_and_part_reads_a_known_measure(sheet):
    measures = measure(sheet(), Look(), "gold foil", stock_reflectance=(0.8, 0.8, 0.8))
    known = set(measures) | {"sharpness_resolved_count", "frame_fill_share"}
    known |= set(FrameJudgement(0.0, 0.0, 0.0).measures())
    for kind in LOOK_KINDS:
        look = Look(kind=kind)
        assert {rule.measure for rule in (*parts_of(look), *gates_of(look))} <= known


@pytest.mark.parametrize("kind", LOOK_KINDS)
def test_a_limit_that_is_not_kept_is_told_as_a_fault(kind):
    for rule in gates_of(Look(kind=kind)):
        assert rule.fault
        assert rule.fault != rule.name
