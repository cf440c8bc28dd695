"""Rigs that nobody can build are refused; ones that just can be are not."""

import dataclasses
import math

import pytest

from lightplan.errors import RigError
from lightplan.scene import (
    Camera,
    Card,
    Foil,
    Freedom,
    Grating,
    Lamp,
    Look,
    Placement,
    Rig,
    Room,
    Sheet,
    Shell,
    Table,
)
from lightplan.scene.sanity import SLACK_MM, refuse_impossible

ROOM = Room(table=Table(width_mm=1000, depth_mm=600, drop_mm=1))


def rig(**parts):
    return Rig(
        **{
            "title": "tag",
            "sheet": Sheet(width_mm=100, height_mm=60),
            "camera": Camera(placement=Placement((0, -200, 400))),
            "room": ROOM,
            **parts,
        }
    )


def standing_card(x, y, z, *, height=200.0, width=100.0, roll=0.0):
    """A card that stands upright and faces along -y."""
    place = Placement((x, y, z), (x, y - 100, z), roll)
    return Card(name="c", placement=place, width_mm=width, height_mm=height)


def lowest_allowed(**size):
    """The least z at which a standing card is accepted, by bisection."""
    low, high = 0.0, 400.0
    while high - low > 1e-6:
        z = (low + high) / 2
        try:
            refuse_impossible(rig(cards=(standing_card(0, 200, z, **size),)))
            high = z
        except RigError:
            low = z
    return high


def test_a_card_may_stand_on_the_table_but_not_in_it():
    floor = -1 - SLACK_MM
    assert lowest_allowed() == pytest.approx(100 + floor, abs=1e-5)
    # Turned by 45 degrees its corner is lowest: half the diagonal.
    assert lowest_allowed(height=100, roll=math.pi / 4) == pytest.approx(
        50 * math.sqrt(2) + floor, abs=1e-5
    )


@pytest.mark.parametrize(
    ("x", "y", "fine"),
    [
        (0, 290, False),  # over the table
        (540, 0, False),  # its side is over the table
        (560, 0, True),  # beside it
        (0, 310, True),  # behind it
    ],
)
def test_below_the_table_top_is_fine_beside_the_table(x, y, fine):
    wanted = rig(cards=(standing_card(x, y, 50),))
    if fine:
        refuse_impossible(wanted)
        return
    with pytest.raises(RigError, match=r"cards\.c\.position_mm must be such that all of it is abo"):
        refuse_impossible(wanted)


def test_an_edge_through_the_table_is_found_though_all_corners_are_beside_it():
    board = standing_card(0, 0, 50, width=1200, height=150)
    board = dataclasses.replace(board, placement=Placement((0, 200, 50), (0, 100, 50)))
    with pytest.raises(RigError, match=r"\(got -25 mm at its lowest\)"):
        refuse_impossible(rig(cards=(board,)))


def test_without_a_table_only_the_sheet_is_in_the_way():
    nothing = Room(table=None)
    refuse_impossible(rig(room=nothing, cards=(standing_card(0, 200, 50),)))
    with pytest.raises(RigError, match=r"cards\.c\.position_mm"):
        refuse_impossible(rig(room=nothing, cards=(standing_card(0, 10, 50),)))


@pytest.mark.parametrize(
    ("shape", "z", "fine"),
    [
        ("rectangle", 97, True),
        ("rectangle", 95, False),
        ("disk", 97, True),
        ("disk", 95, False),
        ("bulb", 97, True),
        ("bulb", 95, False),
    ],
)
def test_lamps_stand_on_the_table_by_their_own_shape(shape, z, fine):
    # 200 mm across: 100 below the middle, less 1 mm of drop and 3 mm of slack.
    place = Placement((0, 250, z), (0, 0, z))
    lamp = Lamp(name="a", placement=place, shape=shape, width_mm=200, height_mm=200)
    if fine:
        refuse_impossible(rig(lamps=(lamp,)))
        return
    with pytest.raises(RigError, match=r"lamps\.a\.position_mm"):
        refuse_impossible(rig(lamps=(lamp,)))


@pytest.mark.parametrize("aim", [(0, -200, 900), (0, 3000, 0), (900, 0, 0), (0, -1000, 0)])
def test_a_camera_that_looks_away_is_refused(aim):
    with pytest.raises(RigError, match=r"camera\.aim_mm must be where the sheet is in the picture"):
        refuse_impossible(rig(camera=Camera(placement=Placement((0, -200, 400), aim))))


def test_a_camera_that_sees_part_of_the_sheet_is_fine():
    # Half of the field of view is 23.5 / 2 / 50 of the distance: 105 mm at 447 mm.
    refuse_impossible(rig(camera=Camera(placement=Placement((0, -200, 400), (140, 0, 0)))))


@pytest.mark.parametrize(
    ("shell", "fine"),
    [
        # Half the sheet's diagonal is 58.3 mm.
        (Shell(name="s", foot_width_mm=117), True),
        (Shell(name="s", foot_width_mm=116), False),
        (Shell(name="s", foot_width_mm=117, centre_mm=(5, 0, 0)), False),
        (Shell(name="s", foot_width_mm=60, top_width_mm=50, centre_mm=(0, 0, 40)), True),
        (Shell(name="s", centre_mm=(0, 0, -20)), False),
        (Shell(name="s", shape="tent", foot_width_mm=100, foot_depth_mm=60), True),
        (Shell(name="s", shape="tent", foot_width_mm=99, foot_depth_mm=60), False),
        (Shell(name="s", shape="tent", foot_width_mm=300, foot_depth_mm=59), False),
    ],
)
def test_cones_and_tents_stand_round_the_sheet(shell, fine):
    if fine:
        refuse_impossible(rig(shells=(shell,)))
        return
    with pytest.raises(RigError, match=r"shells\.s\.(foot_width_mm|centre_mm) must be"):
        refuse_impossible(rig(shells=(shell,)))


@pytest.mark.parametrize(
    ("element", "dimension", "fine"),
    [
        ("camera", "aim_z_mm", True),
        ("camera", "width_mm", False),
        ("key", "trim_stops", True),
        ("key", "hole_mm", False),
        ("c", "hole_mm", True),
        ("c", "trim_stops", False),
        ("s", "width_mm", True),
        ("s", "aim_x_mm", False),
    ],
)
def test_freedoms_are_of_dimensions_that_are_there(element, dimension, fine):
    parts = rig(
        lamps=(Lamp(name="key", placement=Placement((0, 400, 600))),),
        cards=(standing_card(0, 200, 150),),
        shells=(Shell(name="s"),),
        freedoms=(Freedom(element=element, dimension=dimension, low=0, high=1),),
    )
    if fine:
        refuse_impossible(parts)
        return
    with pytest.raises(RigError, match=rf"freedoms\.{element}\.dimension must be one of x_mm"):
        refuse_impossible(parts)


def test_a_freedom_is_given_once():
    freedom = Freedom(element="camera", dimension="z_mm", low=300, high=500)
    with pytest.raises(RigError, match=r"freedoms\.camera\.z_mm must be given once"):
        refuse_impossible(rig(freedoms=(freedom, freedom)))


def test_a_rainbow_needs_a_grating():
    with pytest.raises(RigError, match=r"look\.kind must be another than rainbow"):
        refuse_impossible(rig(look=Look(kind="rainbow")))
    holographic = Sheet(width_mm=100, height_mm=60, foil=Foil(grating=Grating()))
    refuse_impossible(rig(look=Look(kind="rainbow"), sheet=holographic))
