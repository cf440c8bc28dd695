"""What helpers are sent of builds: an artwork that both sides have does not travel again."""

import io

import numpy as np

from lightplan.planning.helper import _Reader, _Writer
from lightplan.planning.robust import draws
from lightplan.rigfiles import load_rig
from lightplan.scene.setting_errors import SettingErrors, built, error_dimensions


def test_builds_share_their_artwork_and_travel_without_it():
    rig = load_rig("silver-bookplate-bright").rig
    dimensions = error_dimensions(rig, SettingErrors())
    rows = draws(dimensions, 20, seed=1)
    builds = [built(rig, dimensions, row) for row in rows]
    assert all(build.sheet is not rig.sheet for build in builds)  # each bowed in its own way
    assert all(build.sheet.artwork is rig.sheet.artwork for build in builds)
    sent = io.BytesIO()
    _Writer(sent, rig).dump(builds)
    assert sent.tell() < rig.sheet.artwork.nbytes / 10
    sent.seek(0)
    came = _Reader(sent, rig).load()
    assert [one.sheet.flatness for one in came] == [one.sheet.flatness for one in builds]
    assert np.ptp([one.sheet.flatness.bow_mm for one in came]) > 0.05
    assert all(one.sheet.artwork is rig.sheet.artwork for one in came)
