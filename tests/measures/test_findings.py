"""Faults that were put in are named, with place and gain."""

from __future__ import annotations

import numpy as np
import pytest

from lightplan.measures import find_faults, judge, measure
from lightplan.measures.findings import FAULTS
from lightplan.measures.rules import gates_of, parts_of
from lightplan.scene.look import LOOK_KINDS, Look

FLAT = Look(kind="flat copy")


def faults(maps, look=None, kind="silver foil"):
    wanted = look if look is not None else Look()
    return {f.code: f for f in find_faults(maps, measure(maps, wanted, kind), wanted)}


def spot(x0, y0, level, ground=0.7):
    return lambda x, y: np.where(np.hypot(x - x0, y - y0) < 8.0, level, ground)


def test_a_good_sheet_has_no_fault(sheet):
    assert faults(sheet(0.93, 0.45), FLAT) == {}


def test_clipped_foil_is_found_in_its_place(sheet):
    # A few per cent of blank highlight do no harm but in a record.
    found = faults(sheet(spot(25.0, -12.0, 1.5), 0.45), FLAT)
    assert found["foil clipped"].where_mm == pytest.approx((25.0, -12.0), abs=1.0)
    assert "clipped" in found["foil clipped"].what


def test_a_clipped_background_is_no_fault(sheet):
    from lightplan.measures import Background

    white = Background(linear=np.ones((90, 3)), clipped=np.ones((90, 3), bool))
    assert faults(sheet(0.93, 0.45, background=white), FLAT) == {}


def test_glare_on_the_paper_is_named_as_that_and_placed(sheet):
    found = faults(sheet(0.93, spot(-60.0, 44.0, 0.7, ground=0.45)))
    assert found["glare on paper"].where_mm == pytest.approx((-60.0, 44.0), abs=6.0)


@pytest.mark.parametrize(
    ("foil", "paper", "code"),
    [
        (0.5, 0.5, "foil vanishes"),
        (0.02, 0.5, "foil black"),
        (0.95, 0.1, "foil too bright"),
        (0.05, 0.03, "too dark"),
        (0.93, lambda x, y: 0.45 * 2.0 ** (x / 148.0), "paper uneven"),
        (lambda x, y: 0.5 * 2.0 ** (x / 60.0), 0.3, "foil uneven"),
    ],
)
def test_each_fault_of_a_flat_copy_has_its_name(sheet, foil, paper, code):
    assert code in faults(sheet(foil, paper), FLAT)


def test_even_foil_is_a_fault_of_a_bright_field(sheet):
    assert "foil reads as print" in faults(sheet(0.93, 0.45))


def test_faults_of_the_other_looks_have_their_names(sheet):
    right = {"direction_rad": 0.0, "strength_stops": 2.0}
    flat = sheet(0.9, 0.45)
    assert "gradient too weak" in faults(flat, Look(kind="gradient", **right))
    assert "split too weak" in faults(flat, Look(kind="split", **right))
    assert "foil too bright" in faults(flat, Look(kind="dark field"))
    assert "no bright edges" in faults(flat, Look(kind="dark field"))
    assert {"no rainbow", "few hues"} <= set(faults(flat, Look(kind="rainbow")))
    steep = sheet(lambda x, y: 0.3 * 2.0 ** (y / 20.0), 0.45)
    assert "gradient askew" in faults(steep, Look(kind="gradient", **right))


def test_a_cast_is_a_fault_and_its_cure_is_worth_its_points(sheet):
    maps = sheet(0.93, 0.45).with_linear(np.asarray(sheet(0.93, 0.45).linear) * [1.0, 0.9, 0.55])
    measures = measure(maps, FLAT, "silver foil")
    found = faults(maps, FLAT)["colour cast"]
    cured = judge(measures.joined({"paper_cast_Cab": (0.0, 0.0)}), FLAT)
    assert found.gain == pytest.approx(cured.score - judge(measures, FLAT).score, rel=0.35)


def test_gains_of_all_faults_add_up_to_about_what_is_lost(sheet):
    maps = sheet(spot(25.0, -12.0, 1.5), lambda x, y: 0.3 * 2.0 ** (x / 148.0))
    before = judge(measure(maps, Look(), "silver foil"), Look()).score
    total = sum(found.gain for found in faults(maps).values())
    assert before + total == pytest.approx(100.0, abs=20.0)


def test_dearest_first_and_hooks_blank(sheet):
    maps = sheet(spot(25.0, -12.0, 1.5), lambda x, y: 0.3 * 2.0 ** (x / 148.0))
    found = find_faults(maps, measure(maps, Look(), "silver foil"), Look())
    gains = [fault.gain for fault in found]
    assert gains == sorted(gains, reverse=True)
    assert {(fault.cause, fault.move) for fault in found} == {("", "")}


def test_every_judged_measure_has_words():
    for kind in LOOK_KINDS:
        look = Look(kind=kind)
        assert {rule.measure for rule in (*parts_of(look), *gates_of(look))} <= set(FAULTS)
