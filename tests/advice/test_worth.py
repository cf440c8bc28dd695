"""What advice takes a build to be worth is what a prediction says of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lightplan.advice.worth import CameraAsSet, Worth
from lightplan.rigfiles import load_rig
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
    worth = Worth(plain).score(plain, CameraAsSet(clip_cd_m2=whole.settings.clip_cd_m2))
    assert worth == pytest.approx(whole.judgement.score, abs=3.0)
