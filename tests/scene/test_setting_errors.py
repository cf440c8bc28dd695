"""Things set a little off: what moves, and what stays."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lightplan.rigfiles import load_rig
from lightplan.scene import Placement
from lightplan.scene.setting_errors import ErrorDimension, built

TURNED = (ErrorDimension("roof", "turn_deg", 1.0), ErrorDimension("roof", "lean_deg", 1.0))


@pytest.fixture(scope="module")
def under_a_roof():
    return load_rig("gold-card-above").rig


def axes_of(rig):
    return next(card for card in rig.cards if card.name == "roof").placement.axes()


@pytest.mark.parametrize("lean_deg", [0.0, 3.0, 12.0])
@pytest.mark.parametrize("off_deg", [(1.0, 0.0), (0.0, 1.0), (-0.7, 0.7), (0.0, -2.0)])
def test_a_level_board_that_is_set_a_degree_off_is_not_spun(under_a_roof, lean_deg, off_deg):
    """Its normal turns by what it is off, and its sides by no more than that."""
    x, y, z = (0.0, 40.0, 400.0)
    aim = (x, y + z * math.tan(math.radians(lean_deg)), 0.0)
    roofs = tuple(replace(card, placement=Placement((x, y, z), aim)) for card in under_a_roof.cards)
    rig = replace(under_a_roof, cards=roofs)
    missed = built(rig, TURNED, np.array(off_deg))
    before, after = axes_of(rig), axes_of(missed)
    size = math.hypot(*off_deg)
    for was, now in zip(before, after, strict=True):
        assert math.degrees(math.acos(min(1.0, float(was @ now)))) <= 1.01 * size + 1e-6
    off = math.degrees(math.acos(min(1.0, float(before[2] @ after[2]))))
    assert off == pytest.approx(size, rel=0.01)
