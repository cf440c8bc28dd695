"""The room's own light, brighter or darker than planned: told in cd/m2 whatever the plan has.

Levels are the light engine's own with noise: what is tried is the fit, not the engine.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_cells import cells_over

from lightplan.advice.slip_words import undo_words, what_is_off
from lightplan.estimate import Photographed, estimate_together
from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import slipped

REFERENCE = Path(__file__).parents[1] / "reference"
sys.path.insert(0, str(REFERENCE / "slipped"))
RIG = load_rig(REFERENCE / "planned" / "gold_hole_bright.toml").rig
CLIP = 400.0


def in_room(light_cd_m2):
    return replace(RIG, room=replace(RIG.room, ambient_cd_m2=(light_cd_m2,) * 3))


def photograph(rig):
    seen = cells_over(rig, [(True, 1.0), (False, 1.0)])
    levels = CellLevels(rig, seen)
    light = levels.light(rig).mixed({}, levels.room)
    stops = to_stops(light, CLIP) + np.random.default_rng(3).normal(0, 0.01, light.shape)
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) / 2
    corners = corners * [rig.sheet.width_mm, rig.sheet.height_mm]
    shape = rig.camera.pixels[1], rig.camera.pixels[0]
    places = rig.camera.project(np.column_stack([corners, np.zeros(4)]), *shape)
    return Photographed(replace(seen, stops=stops), places, shape, None, CLIP)


@pytest.mark.parametrize(("planned", "there"), [(40.0, 8.0), (8.0, 40.0), (0.0, 32.0)])
def test_a_rooms_light_is_told_in_cd_m2_brighter_or_darker(planned, there):
    plan = in_room(planned)
    found = estimate_together(plan, (photograph(in_room(there)),), clip_cd_m2=CLIP)
    assert [s.element for s in found.slips] == ["room"]
    (told,) = found.slips
    assert told.value == pytest.approx(there - planned, rel=0.25)
    assert abs(told.value - (there - planned)) < 2 * told.uncertainty < abs(there - planned)
    undone = slipped(slipped(plan, {("room", "light"): told.value}), {("room", "light"): -10.0})
    assert min(undone.room.ambient_cd_m2) >= 0
    more = there > planned
    assert what_is_off(plan, told).startswith("more" if more else "less")
    assert undo_words(plan, told).startswith("darken" if more else "let in")


@pytest.mark.parametrize("level", [0.0, 40.0])
def test_a_room_as_planned_is_told_so(level):
    plan = in_room(level)
    found = estimate_together(plan, (photograph(plan),), clip_cd_m2=CLIP)
    assert found.as_planned
