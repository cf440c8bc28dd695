"""Drift of 10 mm between two frames of one set; pictures by ../reference/slipped/drifted.py."""

from __future__ import annotations

import sys
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from lightplan.estimate import HIDES, Estimate, estimate
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import sheet_put_back
from lightplan.shots.pipeline import look_at
from lightplan.shots.sheet.alike import alike
from lightplan.tasks import advise as advising
from lightplan.tasks import drift as drifting
from lightplan.tasks.advise import advice_words
from lightplan.tasks.photographed import context_of, look_at_set

SLIPPED = Path(__file__).parents[1] / "reference" / "slipped"
PHOTOGRAPHS = SLIPPED / "drifted"
sys.path.insert(0, str(SLIPPED))

from bases import base_rig  # noqa: E402
from drifted import DRIFTS, PLAN  # noqa: E402


@lru_cache(maxsize=16)
def drift(name):
    """The advice on a later frame; the earlier one, the same for all, is looked at once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(advising, "look_at_set", looked_at)
        patch.setattr(drifting, "estimate", estimated_then)
        return advising.advise(
            PHOTOGRAPHS / f"{name}.jpg", rig=plan(), since=PHOTOGRAPHS / "then.jpg"
        )


@lru_cache(maxsize=1)
def plan():
    return base_rig(PLAN)


@lru_cache(maxsize=16)
def looked_at(path, rig):
    return look_at_set(path, rig)


FOUND_THEN: list[Estimate] = []


def estimated_then(rig, photograph, **more):
    assert rig is plan()
    if not FOUND_THEN:
        FOUND_THEN.append(estimate(rig, photograph, **more))
    return FOUND_THEN[0]


@pytest.mark.parametrize("name", list(DRIFTS))
def test_what_has_drifted_is_named_with_its_size_and_how_to_put_it_back(name):
    element, dimension, size = DRIFTS[name]
    advice = drift(name)
    (found,) = [s for s in advice.slips if s.element not in ("exposure", "white balance")]
    assert (found.element, found.dimension) == (element, dimension)
    # 10 mm is found to a quarter, and the stated uncertainty holds (three of it)
    assert found.value == pytest.approx(size, abs=2.5)
    assert abs(found.value - size) < 3 * found.uncertainty
    (told,) = advice.report()["slips"]
    assert element in told["put_back"]
    assert not advice.as_planned
    assert f"Changed since {advice.since}:" in advice_words(advice)


def test_a_sheet_put_back_elsewhere_is_no_drift():
    advice = drift("put_back")
    assert advice.as_planned
    assert advice.sentence.endswith("Nothing that shows has changed since then.jpg; leave it.")


def test_a_shift_of_colour_alone_is_told_as_such():
    advice = drift("colour")
    (found,) = advice.slips
    assert found.element == "white balance"
    assert found.value == pytest.approx(0.3, abs=0.06)
    assert "Only the colour has shifted" in advice.sentence
    assert "the light falls as it did" in " ".join(advice_words(advice))


def test_frames_are_laid_over_each_other():
    context = context_of(base_rig(PLAN))
    then, now = (look_at(PHOTOGRAPHS / f"{n}.jpg", context).sheet for n in ("then", "put_back"))
    before, after = alike(then.maps, now.maps)
    edges = (before.foil > 0.2) & (before.foil < 0.8) & before.valid

    def apart(one, other):
        steps = np.log2((one.linear + 1 / 256) / (other.linear + 1 / 256)).mean(axis=-1)[edges]
        return np.std(steps)

    assert apart(after, before) < 0.8 * apart(now.maps, then.maps)


def test_a_sheet_that_was_put_back_sees_its_lamps_the_other_way():
    rig = load_rig("silver-bookplate-bright").rig
    lamp = rig.lamps[0].placement.position_mm
    moved = sheet_put_back(rig, "x_mm", 3.0).lamps[0].placement.position_mm
    assert moved == pytest.approx((lamp[0] - 3.0, lamp[1], lamp[2]))
    turned = sheet_put_back(rig, "turn_deg", 90.0).lamps[0].placement.position_mm
    # the sheet turned counter-clockwise: what lay along y lies along its own x
    assert turned == pytest.approx((lamp[1], -lamp[0], lamp[2]))
    assert rig.camera == sheet_put_back(rig, "turn_deg", 90.0).camera


def test_what_would_not_have_shown_is_told_with_what_to_measure():
    advice = drift("put_back")
    told = [text for text in advice.cannot_tell if "without showing here" in text]
    assert told
    assert all(": measure" in t or ": hold" in t for t in told)
    assert any(f"Not to be told from these photographs: {told[0]}." == w for w in lines(advice))
    # of what pictures of this set show by 10 mm, none is said to hide by as much
    ways = {"x_mm": "sideways", "z_mm": "height"}
    shown = {(e, ways.get(d)) for e, d, _ in DRIFTS.values()}
    hidden = {(d.element, d.kind): HIDES * d.sigma for d in advice.estimate.doubts}
    assert all(hidden.get(way, 0.0) < 10.0 for way in shown)


def lines(advice):
    return advice_words(advice)
