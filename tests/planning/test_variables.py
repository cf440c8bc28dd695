"""Freedoms as a box: read, set, refuse."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.errors import RigError
from lightplan.scene import Camera, Card, Freedom, Hole, Lamp, Placement, Rig, Sheet, Shell
from lightplan.scene.dimensions import Space, set_values, value_of


def rig():
    return Rig(
        title="bookmark",
        sheet=Sheet(width_mm=50, height_mm=150),
        camera=Camera(placement=Placement((0, -200, 400))),
        lamps=(Lamp(name="key", placement=Placement((400, 0, 500)), trim_stops=-1),),
        cards=(
            Card(
                name="board",
                placement=Placement((0, 200, 300), (0, 10, 0)),
                width_mm=300,
                height_mm=200,
                hole=Hole(diameter_mm=20, offset_mm=(5, 0)),
            ),
        ),
        shells=(Shell(name="cone"),),
        freedoms=tuple(
            Freedom(element=e, dimension=d, low=lo, high=hi)
            for e, d, lo, hi in (
                ("key", "x_mm", 300, 700),
                ("key", "aim_z_mm", -50, 50),
                ("key", "trim_stops", -4, 0),
                ("board", "z_mm", 250, 450),
                ("board", "width_mm", 200, 500),
                ("board", "hole_mm", 10, 60),
                ("cone", "hole_mm", 80, 200),
                ("cone", "x_mm", -10, 10),
                ("camera", "z_mm", 350, 600),
            )
        ),
    )


def test_powers_are_kept_apart_from_geometry():
    space = Space.of(rig())
    assert [v.name for v in space.trims] == ["key.trim_stops"]
    assert len(space.geometry) == 8


def test_reading_gives_shares_of_the_ranges():
    point = Space.of(rig()).read(rig())
    assert point == pytest.approx([0.25, 0.5, 0.25, 1 / 3, 0.2, (100 - 80) / 120, 0.5, 0.2])


@settings(max_examples=50, deadline=None)
@given(st.lists(st.floats(0, 1), min_size=8, max_size=8))
def test_what_is_set_is_read_back(point):
    space = Space.of(rig())
    point = np.array(point)
    moved = space.apply(rig(), point)
    assert space.read(moved) == pytest.approx(point, abs=1e-12)
    assert moved.cards[0].hole.offset_mm == (5, 0)
    assert moved.lamps[0].trim_stops == -1


def test_a_start_outside_its_range_is_clipped():
    moved = set_values(rig(), {("key", "x_mm"): 900.0})
    assert Space.of(rig()).read(moved)[0] == 1.0


def test_only_what_is_named_changes():
    before = rig()
    after = set_values(before, {("board", "z_mm"): 400.0})
    assert after.lamps[0] is before.lamps[0]
    assert after.cards[0].placement.position_mm == (0, 200, 400)
    assert after.cards[0].placement.aim_mm == (0, 10, 0)


def test_a_dimension_that_is_not_there_is_refused():
    with pytest.raises(RigError, match=r"cone\.trim_stops must be a dimension that this element"):
        value_of(rig(), "cone", "trim_stops")
    with pytest.raises(RigError, match=r"element must be the name of a lamp, card or shell"):
        value_of(rig(), "nobody", "x_mm")


def test_a_hole_of_nothing_closes_the_card():
    assert set_values(rig(), {("board", "hole_mm"): 0.0}).cards[0].hole is None
    assert value_of(rig(), "board", "hole_mm") == 20
