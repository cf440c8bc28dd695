"""What a hand asks of a rig: each way once, and what is refused."""

from __future__ import annotations

import math

import pytest

from lightplan.errors import BadInput
from lightplan.rigfiles import load_rig
from lightplan.tasks.changing import changed
from lightplan.tasks.layout import layout


@pytest.fixture(scope="module")
def rig():
    return load_rig("silver-bookplate-bright").rig


def card(rig):
    return next(one for one in rig.cards if one.name == "sky")


def lamp(rig, name="side softbox"):
    return next(one for one in rig.lamps if one.name == name)


def test_a_card_moves_with_its_direction_a_lamp_keeps_its_aim(rig):
    old = card(rig).placement
    to = [10.0, 200.0, 400.0]
    moved = changed(
        rig, [{"do": "move", "element": "sky", "position_mm": to, "keeps_direction": True}]
    )
    new = card(moved).placement
    assert new.position_mm == (10.0, 200.0, 400.0)
    for axis in range(3):
        step = new.aim_mm[axis] - old.aim_mm[axis]
        assert step == pytest.approx(new.position_mm[axis] - old.position_mm[axis])
    lit = changed(rig, [{"do": "move", "element": "side softbox", "position_mm": to}])
    assert lamp(lit).placement.aim_mm == lamp(rig).placement.aim_mm


def test_a_turn_keeps_the_place_and_turns_by_that_angle(rig):
    new = changed(rig, [{"do": "turn", "element": "sky", "lean_deg": 10.0}])
    before, after = card(rig).placement, card(new).placement
    assert after.position_mm == before.position_mm
    cosine = float(before.axes()[2] @ after.axes()[2])
    assert math.degrees(math.acos(cosine)) == pytest.approx(10.0)


def test_things_are_added_copied_renamed_and_put_aside(rig):
    more = changed(
        rig,
        [
            {"do": "add", "kind": "white board", "name": "wall", "width_mm": 300, "height_mm": 200},
            {"do": "add", "kind": "diffuser"},
            {"do": "add", "kind": "window"},
            {"do": "copy", "element": "sky"},
            {"do": "rename", "element": "wall", "name": "left wall of paper"},
            {"do": "remove", "element": "under light"},
        ],
    )
    assert {one.name for one in more.cards} == {"sky", "left wall of paper", "diffuser", "sky 2"}
    assert {one.name for one in more.lamps} == {"side softbox", "window"}
    assert not [one for one in more.freedoms if one.element == "under light"]
    told = {one["name"]: one["kind"] for one in layout(more)["things"]}
    assert told["diffuser"] == "diffuser"
    assert told["window"] == "window"


def test_power_look_exposure_lock_and_title(rig):
    new = changed(
        rig,
        [
            {"do": "power", "element": "side softbox", "trim_stops": -2.0, "on": False},
            {"do": "look", "kind": "gradient", "direction_deg": 0, "strength_stops": 3},
            {"do": "exposure", "stops": 1.0},
            {"do": "lock", "element": "sky", "locked": True},
            {"do": "title", "text": "Spring"},
        ],
    )
    assert (lamp(new).trim_stops, lamp(new).on) == (-2.0, False)
    assert (new.look.kind, new.look.direction_rad, new.look.strength_stops) == ("gradient", 0, 3)
    shown = rig.camera.exposure.level_on(rig.sheet.paper)  # no level is set: the stock's own
    assert new.camera.exposure.paper_level == pytest.approx(2 * shown)
    assert card(new).locked
    assert not [one for one in new.freedoms if one.element == "sky"]
    assert new.title == "Spring"
    free = changed(new, [{"do": "lock", "element": "sky", "locked": False}])
    assert not card(free).locked


@pytest.mark.parametrize(
    "asked",
    [
        None,
        "x",
        [None],
        [{"do": "fly"}],
        [{}] * 21,
        [{"do": "set", "element": "sky"}],
        [{"do": "set", "element": "no such", "dimension": "x_mm", "value": 1}],
        [{"do": "set", "element": "sky", "dimension": "roll", "value": 1}],
        [{"do": "set", "element": "sky", "dimension": "width_mm", "value": -1}],
        [{"do": "set", "element": "sky", "dimension": "x_mm", "value": True}],
        [{"do": "add", "kind": "gold bar"}],
        [{"do": "copy", "element": "camera"}],
        [{"do": "rename", "element": "sky", "name": "under light"}],
        [{"do": "look", "kind": "splendid"}],
        [{"do": "lock", "element": "sheet"}],
        [{"do": "move", "element": "sky", "position_mm": [0, 0, 1]}],
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence(rig, asked):
    with pytest.raises(BadInput, match=r"must be .*; .*\."):
        changed(rig, asked)


def test_quick_keys_add_up_whatever_the_page_last_saw(rig):
    step = {"do": "nudge", "element": "sky", "by_mm": [5, 0, 0], "keeps_direction": True}
    x, y, z = card(rig).placement.position_mm
    moved = changed(changed(rig, [step]), [step])
    assert card(moved).placement.position_mm == pytest.approx((x + 10, y, z))
    wider = {"do": "nudge", "element": "sky", "dimension": "width_mm", "by": 10}
    assert card(changed(rig, [wider, wider])).width_mm == card(rig).width_mm + 20
    dimmer = {"do": "nudge", "element": "side softbox", "dimension": "trim_stops", "by": -1 / 3}
    trim = lamp(changed(rig, [dimmer, dimmer])).trim_stops
    assert trim == pytest.approx(lamp(rig).trim_stops - 2 / 3)


def test_nothing_is_nudged_through_the_table(rig):
    step = {"do": "nudge", "element": "sky", "by_mm": [0, 0, -9999], "keeps_direction": True}
    with pytest.raises(BadInput):  # the lowest that is asked for is 0, and there the sheet lies
        changed(rig, [{**step, "element": "nobody"}])
    assert card(changed(rig, [step])).placement.position_mm[2] == 0.0
