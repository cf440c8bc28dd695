"""Edits of a rig: each does what it says, nothing else changes, and what cannot be is refused."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightplan.errors import RigError
from lightplan.scene import Camera, Card, Freedom, Hole, Lamp, Placement, Prop, Rig, Sheet, Shell
from lightplan.scene.dimensions import value_of
from lightplan.scene.edits import (
    Add,
    Exchange,
    Lock,
    Move,
    Power,
    Remove,
    Rename,
    Set,
    Turn,
    edited,
    set_values,
)

KEY = Lamp(name="key", placement=Placement((0, 0, 800)))
BOARD = Card(
    name="board", placement=Placement((0, 300, 200), (0, 0, 100)), width_mm=420, height_mm=297
)
CONE = Shell(name="cone")
POST = Prop(name="post", position_mm=(500, 0, 0))


@pytest.fixture
def rig() -> Rig:
    return Rig(
        title="edits",
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -500, 500))),
        lamps=(KEY,),
        cards=(BOARD,),
        shells=(CONE,),
        props=(POST,),
        freedoms=(Freedom(element="board", dimension="x_mm", low=-10, high=10),),
    )


@pytest.mark.parametrize(
    ("element", "dimension", "value"),
    [
        ("key", "x_mm", 40.0),
        ("key", "aim_z_mm", 12.0),
        ("key", "trim_stops", -2.0),
        ("board", "z_mm", 250.0),
        ("board", "width_mm", 500.0),
        ("board", "hole_mm", 40.0),
        ("cone", "y_mm", 5.0),
        ("cone", "width_mm", 300.0),
        ("cone", "hole_mm", 90.0),
        ("camera", "z_mm", 600.0),
        ("camera", "aim_y_mm", 9.0),
    ],
)
def test_what_is_set_is_read_back_and_all_else_stays(
    rig: Rig, element: str, dimension: str, value: float
) -> None:
    found = edited(rig, Set(element, dimension, value))
    assert value_of(found, element, dimension) == value
    others = {"camera": found.camera} | {
        x.name: x for x in (*found.lamps, *found.cards, *found.shells, *found.props)
    }
    before = {"camera": rig.camera} | {
        x.name: x for x in (*rig.lamps, *rig.cards, *rig.shells, *rig.props)
    }
    # the engine tells by identity what stayed
    assert {n for n in before if others[n] is not before[n]} == {element}
    assert found.sheet is rig.sheet
    assert found.room is rig.room


def test_many_values_at_once_are_those_one_by_one(rig: Rig) -> None:
    values = {("key", "x_mm"): 10.0, ("key", "z_mm"): 700.0, ("board", "aim_x_mm"): 30.0}
    one_by_one = rig
    for (element, dimension), value in values.items():
        one_by_one = edited(one_by_one, Set(element, dimension, value))
    together = set_values(rig, values)
    assert together.lamps[0].placement == one_by_one.lamps[0].placement
    assert together.cards == one_by_one.cards


def test_nothing_to_do_gives_the_same_rig(rig: Rig) -> None:
    assert edited(rig) is rig


def test_a_rig_that_cannot_be_half_way_is_checked_once_at_the_end(rig: Rig) -> None:
    # at its old aim the lamp would stand on the very point that it faces
    there = (0.0, 0.0, 0.0)
    with pytest.raises(RigError, match="aim_mm must be another point"):
        edited(rig, Set("key", "z_mm", 0.0))
    found = edited(rig, Move(element="key", position_mm=(900.0, 0.0, 0.0)), Remove("board"))
    assert found.lamps[0].placement.aim_mm == there
    assert not found.freedoms, "freedoms go with what they move"


def test_moving_keeps_the_aim_or_the_direction(rig: Rig) -> None:
    place = (100.0, 0.0, 800.0)
    aimed = edited(rig, Move(element="key", position_mm=place)).lamps[0].placement
    assert aimed.aim_mm == (0.0, 0.0, 0.0)
    kept = edited(rig, Move(element="key", position_mm=place, keeps_direction=True))
    assert kept.lamps[0].placement.aim_mm == (100.0, 0.0, 0.0)
    moved = edited(
        rig,
        Move(element="cone", position_mm=(1.0, 2.0, 0.0)),
        Move(element="post", position_mm=(0.0, 600.0, 0.0)),
        Move(element="camera", position_mm=(0.0, -400.0, 450.0)),
    )
    assert moved.shells[0].centre_mm == (1.0, 2.0, 0.0)
    assert moved.props[0].position_mm == (0.0, 600.0, 0.0)
    assert moved.camera.placement.position_mm == (0.0, -400.0, 450.0)


@given(st.floats(-1.2, 1.2), st.floats(-0.6, 0.6))
def test_a_turn_turns_by_its_angle_about_the_middle(turn: float, lean: float) -> None:
    rig = Rig(
        title="turn",
        sheet=Sheet(width_mm=90, height_mm=50),
        cards=(BOARD,),
        camera=Camera(placement=Placement((0, -500, 500))),
    )
    found = edited(rig, Turn(element="board", turn_rad=turn, lean_rad=lean)).cards[0].placement
    before, after = (np.subtract(p.aim_mm, p.position_mm) for p in (BOARD.placement, found))
    assert found.position_mm == BOARD.placement.position_mm
    assert np.linalg.norm(after) == pytest.approx(np.linalg.norm(before))
    # spherical coordinates, a closed form: heading clockwise seen from above is to the right
    heading = [math.atan2(way[1], way[0]) for way in (before, after)]
    tilt = [math.atan2(way[2], math.hypot(way[0], way[1])) for way in (before, after)]
    assert math.cos(heading[0] - heading[1] - turn) == pytest.approx(1.0)
    assert tilt[1] - tilt[0] == pytest.approx(lean)


def test_powers_and_switches(rig: Rig) -> None:
    lamp = edited(rig, Power(element="key", trim_stops=-1.5, on=False)).lamps[0]
    assert (lamp.trim_stops, lamp.on) == (-1.5, False)
    with pytest.raises(RigError, match="the name of a lamp"):
        edited(rig, Power(element="board", on=True))


def test_things_come_in_go_out_and_are_exchanged(rig: Rig) -> None:
    fill = replace(KEY, name="fill", placement=Placement((300, 0, 500)))
    free = Freedom(element="fill", dimension="x_mm", low=0, high=500)
    more = edited(rig, Add(fill, (free,)))
    assert [lamp.name for lamp in more.lamps] == ["key", "fill"]
    assert more.freedoms[-1] is free
    less = edited(more, Remove("fill"))
    assert less.lamps == rig.lamps
    assert less.freedoms == rig.freedoms
    holed = replace(BOARD, hole=Hole(diameter_mm=30.0))
    assert edited(rig, Exchange(holed)).cards == (holed,)
    lens = replace(rig.camera, focal_length_mm=35.0)
    assert edited(rig, Exchange(lens)).camera is lens


def test_what_is_not_there_is_refused_by_name(rig: Rig) -> None:
    with pytest.raises(RigError, match="use one of key, board, cone"):
        edited(rig, Remove("boart"))
    with pytest.raises(RigError, match="a dimension that this element has"):
        edited(rig, Set("board", "trim_stops", 0.0))
    with pytest.raises(RigError, match="one that no other thing in the rig has"):
        edited(rig, Add(KEY))
    with pytest.raises(RigError, match="which can be turned"):
        edited(rig, Turn(element="cone", turn_rad=0.1))
    with pytest.raises(RigError, match="clear of the sheet"):
        edited(rig, Move(element="board", position_mm=(0.0, 0.0, 1.0)))


def test_a_new_name_is_that_of_the_freedoms_too_and_the_order_stays(rig: Rig) -> None:
    found = edited(rig, Rename("board", "sky"))
    assert list(found.element_names()) == ["key", "sky", "cone"]

    assert [f.element for f in found.freedoms] == ["sky"]
    with pytest.raises(RigError, match="one that no other thing in the rig has"):
        edited(rig, Rename("board", "key"))


def test_a_locked_thing_has_no_freedoms(rig: Rig) -> None:
    found = edited(rig, Lock("board", True))
    assert found.freedoms == ()
    assert [x.name for x in (*found.lamps, *found.cards, *found.shells) if x.locked] == ["board"]
    assert not edited(found, Lock("board", False)).cards[0].locked
    with pytest.raises(RigError, match="a thing that can be locked"):
        edited(rig, Lock("post", True))
