"""The order of a proof sheet: what reads most as foil first, on white stock what shines."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lightplan.measures import Judgement
from lightplan.rigfiles import load_rig
from lightplan.scene import Paper
from lightplan.tasks.looks import ProofLook, rank


def look(metal: float, over: float, paper: float, score: float | None = None) -> ProofLook:
    measures = {
        "reads_as_metal_share": metal,
        "foil_over_white_stops": over,
        "paper_lightness_Lstar": paper,
    }
    judgement = None
    if score is not None:
        judgement = Judgement(
            score=score, verdict="adjust", parts=(), gates=(), reasons=(), uncertainty=None
        )
    return ProofLook(look="gradient", plan=None, measures=measures, judgement=judgement)


@pytest.fixture(scope="module")
def rig():
    return load_rig("scattered-seeds-run").rig  # white card


def test_on_white_stock_what_comes_as_light_as_the_paper_is_first(rig):
    # Seen by eye: foil far below white passes for dark ink, however long its run.
    assert rank(rig, look(0.72, 0.1, 86.0)) > rank(rig, look(0.76, -1.0, 93.0))
    assert rank(rig, look(0.72, 0.1, 86.0)) > rank(rig, look(0.72, 0.1, 60.0))  # grey paper


def test_cream_reads_white_sooner_and_dark_stock_need_not(rig):
    def on(reflectance: float) -> float:
        paper = Paper(reflectance=(reflectance,) * 3)
        sheet = replace(rig.sheet, paper=paper)
        return rank(replace(rig, sheet=sheet), look(0.7, 0.0, 81.5))

    assert on(0.77) == pytest.approx(0.7)
    assert on(0.86) < 0.65
    assert on(0.05) == pytest.approx(0.7)


def test_a_look_that_did_not_come_about_is_behind_one_that_did(rig):
    # A split without a dark half shows metal (42 of 100), but nobody who asked for it wants it.
    dark = replace(rig, sheet=replace(rig.sheet, paper=Paper(reflectance=(0.05,) * 3)))
    assert rank(dark, look(0.95, 0.0, 30.0, 42.0)) < rank(dark, look(0.75, 0.0, 30.0, 91.0))
    assert rank(dark, look(0.95, 0.0, 30.0, 80.0)) > rank(dark, look(0.75, 0.0, 30.0, 91.0))


def test_a_rainbow_below_white_is_no_ink(rig):
    # Seen by eye on holographic strips: the rainbow stood behind a bright field of pale lilac.
    dim = replace(look(1.0, -1.4, 90.0), look="rainbow")
    assert rank(rig, dim) > rank(rig, replace(look(0.95, 0.3, 90.0), look="bright field"))
    assert rank(rig, dim) > rank(rig, look(1.0, -1.4, 90.0))
