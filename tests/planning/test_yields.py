"""Stated yields hold: 200 fresh builds of each of five plans, every one traced in full.

The promise comes from a sum of single small errors (`planning.robust`); here each build has all
its errors at once and goes through the light engine, at the detail at which the plan was
polished. The draws have another seed than the plan's own.
"""

from pathlib import Path

import numpy as np
import pytest

from lightplan.merit.engine_model import long_side_for, polish_detail
from lightplan.planning.effort import Effort
from lightplan.planning.plan import plan
from lightplan.planning.pool import Judges
from lightplan.planning.robust import draws
from lightplan.rigfiles import load_rig
from lightplan.scene.setting_errors import SettingErrors, built, error_dimensions

RIGS = Path(__file__).parents[2] / "rigs"
BUILDS = 200
WITHIN = 0.05


def clumsy(times: float) -> SettingErrors:
    """Setting errors that are this many times the usual ones."""
    usual = SettingErrors()
    return SettingErrors(
        position_mm=times * usual.position_mm,
        tilt_rad=times * usual.tilt_rad,
        camera_mm=times * usual.camera_mm,
        bow_mm=times * usual.bow_mm,
        power_stops=times * usual.power_stops,
    )


# (preset, setting errors in units of the usual ones)
PLANS = [
    ("silver-bookplate-bright", 1.0),
    ("certificate-a4-bowed", 1.0),
    ("window-two-boards", 1.0),
    pytest.param(
        "gold-card-above",
        2.0,
        marks=pytest.mark.xfail(
            reason="at twice the usual errors the plan promises 51 of 100 where 64 come out right: "
            "large errors of lens and bow still follow a parabola",
            strict=False,
        ),
    ),
    ("copper-label-gradient", 2.0),
]


def promised_and_found(preset, times):
    """The plan's promises, and the scores of fresh builds."""
    rig, errors = load_rig(RIGS / f"{preset}.toml").rig, clumsy(times)
    effort = Effort(evaluations=12, polish=0, builds=256, helpers=1)
    found = plan(rig, seed=0, effort=effort, errors=errors)
    dimensions = error_dimensions(found.rig, errors)
    rows = draws(dimensions, BUILDS, seed=20_000)
    builds = [built(found.rig, dimensions, row) for row in rows]
    with Judges(found.rig, polish_detail(rig, long_side_for(rig)), helpers=1) as judges:
        scores = np.array(judges.scores(builds))
    return found.robustness, scores


@pytest.mark.slow
@pytest.mark.parametrize(("preset", "times"), PLANS)
def test_the_promised_share_of_builds_comes_out_right(preset, times):
    promise, scores = promised_and_found(preset, times)
    share = float(np.mean(scores >= promise.good_score))
    assert promise.yield_share == pytest.approx(share, abs=WITHIN)
    assert promise.mean_score == pytest.approx(scores.mean(), abs=2.0)
