"""What advice takes a build to be worth is what a prediction says of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lightplan.advice.worth import CameraAsSet, Worth, as_planned
from lightplan.light import Engine
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import slipped
from lightplan.tasks.predict import predict


@pytest.mark.parametrize(
    "name", ["copper-label-gradient", "gold-card-above", "certificate-a4-bowed"]
)
def test_thin_artwork_is_worth_what_is_predicted(name):
    # On a coarser grid other strokes count: the copper label was once worth half of this.
    rig = load_rig(name).rig
    level = replace(rig.sheet.foil, relief=None)
    plain = replace(rig, sheet=replace(rig.sheet, foil=level), freedoms=())
    whole = predict(plain)
    worth = Worth(plain).score(plain, as_planned(plain, whole.settings))
    assert worth == pytest.approx(whole.judgement.score, abs=3.0)


def test_a_rig_is_worth_the_same_whatever_was_asked_before_and_ahead():
    plan = load_rig("copper-label-gradient").rig
    lamp, card = plan.lamps[0].name, plan.cards[0].name
    one, other = (slipped(plan, {n: 20.0}) for n in ((lamp, "x_mm"), (card, "z_mm")))
    camera = CameraAsSet(clip_cd_m2=200.0)
    alone, after, ahead = Worth(plan), Worth(plan), Worth(plan)
    for worth in (alone, after, ahead):
        worth.score(plan, camera)
    wanted = alone.measures(other, camera)
    after.score(one, camera)
    ahead.look_ahead([one, other])
    for worth in (after, ahead):
        found = worth.measures(other, camera)
        assert found == wanted


def test_pictures_that_are_read_ahead_are_those_that_are_asked_for(monkeypatch):
    plan = load_rig("copper-label-gradient").rig
    lamp = plan.lamps[0].name
    rigs = [plan, *(slipped(plan, {(lamp, "x_mm"): v}) for v in (10.0, 20.0, -10.0))]
    cameras = [CameraAsSet(clip_cd_m2=v) for v in (200.0, 160.0)]
    ahead, one_by_one = Worth(plan), Worth(plan)
    ahead.look_ahead(rigs, *cameras)
    wanted = [one_by_one.measures(rig, camera) for rig in rigs for camera in cameras]
    monkeypatch.setattr(CameraAsSet, "levels", lambda *_: pytest.fail("read again"))
    found = [ahead.measures(rig, camera) for rig in rigs for camera in cameras]
    assert found == wanted


def test_what_was_looked_ahead_for_is_not_worked_out_again(monkeypatch):
    plan = load_rig("copper-label-gradient").rig
    lamp = plan.lamps[0].name
    rigs = [slipped(plan, {(lamp, "x_mm"): v}) for v in (10.0, 20.0)]
    worth, camera = Worth(plan), CameraAsSet(clip_cd_m2=200.0)
    worth.look_ahead([plan, *rigs])
    monkeypatch.setattr(Engine, "sheet", lambda *_: pytest.fail("worked out again"))
    assert all(worth.score(rig, camera) >= 0 for rig in rigs)
