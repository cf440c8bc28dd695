"""Narrow foil in a soft picture: paper mixed into it is no tone curve, and nothing has slipped.

Levels are the light engine's own with noise: what is tried is the fit.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_cells import cells_over

from lightplan.estimate import Photographed, estimate_together
from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.scene.slips import slipped
from lightplan.tasks.advise import plan_settings

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
LAID, SEEN = 0.98, 0.94
"""Share of foil in narrow lines as the artwork says, and as a soft picture shows it."""
LAMP = "small lamp"


@pytest.fixture(scope="module")
def plan():
    from bases import base_rig

    return base_rig("rainbow_aslant")


def found_in(plan, built):
    clip = plan_settings(plan).clip_cd_m2
    laid = cells_over(plan, [(True, 1.0), (True, LAID), (False, 1.0)])
    soft = replace(laid, purity=np.where(laid.purity < 1, SEEN, 1.0))
    levels = CellLevels(built, soft)
    stops = to_stops(levels.light(built).mixed({}, levels.room), clip)
    stops = np.minimum(stops + np.random.default_rng(5).normal(0, 0.01, stops.shape), 0)
    shape = plan.camera.pixels[::-1]
    half = np.array([plan.sheet.width_mm, plan.sheet.height_mm, 0]) / 2
    corners = np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0.0]]) * half
    focal = plan.camera.focal_length_mm / plan.camera.sensor_width_mm * shape[1]
    photo = Photographed(
        replace(laid, stops=stops, ended=stops >= 0),
        plan.camera.project(corners, *shape),
        shape,
        focal,
        clip,
    )
    return estimate_together(plan, (photo,), clip_cd_m2=clip)


def test_a_soft_picture_of_a_set_as_planned_is_no_slip_and_no_tone_curve(plan):
    found = found_in(plan, plan)
    assert found.as_planned
    assert found.misfit < 0.25
    assert abs(found.camera.contrast) < 0.02


def test_in_a_soft_picture_a_lamp_that_is_too_bright_is_named(plan):
    found = found_in(plan, slipped(plan, {(LAMP, "power_stops"): 0.6}))
    assert [(s.element, s.dimension) for s in found.slips] == [(LAMP, "power_stops")]
    assert found.slips[0].value == pytest.approx(0.6, abs=0.2)
