"""Solids, gaps and rules of a plan against distances worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.scene import (
    Body,
    Camera,
    Card,
    Freedom,
    Held,
    Hole,
    Lamp,
    Placement,
    Prop,
    Reach,
    Rig,
    Room,
    Sheet,
    Shell,
    Table,
    Walls,
    usually_held,
)
from lightplan.scene.clearance import (
    broken,
    camera_fits,
    limits,
    set_down,
    total_excess_mm,
    unmovable,
    walls_round,
)
from lightplan.scene.solids import Gaps, Solid, box, card_solid, frame_solid, lamp_solid, prop_solid


def unit_box(centre, turn=0.0):
    c, s = math.cos(turn), math.sin(turn)
    axes = np.array([[c, s, 0], [-s, c, 0], [0, 0, 1.0]])
    return box("b", "card", np.array(centre, float), axes, np.ones(3))


def gap_mm(first: Solid, second: Solid) -> float:
    return Gaps((first, second)).mm(first, second)


def rig(**changes):
    base = {
        "title": "gift tag",
        "sheet": Sheet(width_mm=100, height_mm=60),
        "camera": Camera(placement=Placement((0, -200, 400))),
    }
    return Rig(**{**base, **changes})


def the(found, rule, *elements):
    match = [x for x in found if x.rule == rule and x.elements == elements]
    assert match, (rule, elements, found)
    return max(match, key=lambda x: x.excess_mm)


def test_gap_of_boxes_is_their_distance_face_to_face():
    assert gap_mm(unit_box([0, 0, 0]), unit_box([5, 0, 0])) == pytest.approx(3.0)
    assert gap_mm(unit_box([0, 0, 0]), unit_box([1.5, 0, 0.2])) == pytest.approx(-0.5)


def test_gap_of_a_turned_box():
    # Closed form: half the diagonal of a 2 x 2 square reaches sqrt(2) to the side.
    gap = gap_mm(unit_box([0, 0, 0]), unit_box([4, 0, 0], math.pi / 4))
    assert gap == pytest.approx(4 - 1 - math.sqrt(2))


def test_crossed_edges_need_the_edge_axes():
    # Two long rods that cross askew: only the cross product of their edges parts them
    # (the case for which the test of Gottschalk et al. 1996 needs its nine edge axes).
    a = box("a", "card", np.zeros(3), np.eye(3), np.array([10, 1, 1.0]))
    turn = np.array([[0, 1, 1], [0, 1, -1], [math.sqrt(2), 0, 0]]) / math.sqrt(2)
    far = 1 / math.sqrt(2) * 0.1
    b = box("b", "card", np.array([0, 0, 1 + math.sqrt(2) + far]), turn, np.array([10, 1, 1.0]))
    # b's long edge runs along (0, 1, 1): over a it dips below b's centre, so the rods
    # meet; moved sideways along y they part.
    assert gap_mm(a, b) < 0
    b_side = box("b", "card", np.array([0, -4.0, 1 + math.sqrt(2)]), turn, np.array([10, 1, 1.0]))
    assert gap_mm(a, b_side) > 0


@settings(max_examples=60, deadline=None)
@given(x=st.floats(-4, 4), y=st.floats(-4, 4), z=st.floats(-4, 4), turn=st.floats(0, 3))
def test_gap_is_symmetric_and_never_above_the_distance_of_two_points(x, y, z, turn):
    a, b = unit_box([0, 0, 0]), unit_box([x, y, z], turn)
    gap = gap_mm(a, b)
    assert gap == pytest.approx(gap_mm(b, a), abs=1e-9)
    grid = np.linspace(-1, 1, 9)
    inside = np.array([[p, q, r] for p in grid for q in grid for r in grid])
    nearest = np.linalg.norm(inside - np.clip(inside - [0, 0, 0], -1, 1), axis=1).max()
    assert nearest == 0.0  # the samples are inside a
    local = (inside - [x, y, z]) @ b.normals.T
    away = np.linalg.norm(local - np.clip(local, -1, 1), axis=1).min()
    assert gap <= away + 1e-9  # never promises more room than there is
    if away > 0.5:  # coarse samples: clearly apart, so the test must see a gap
        assert gap > 0


def test_a_card_in_the_view_is_told_with_its_depth_in_the_picture():
    card = Card(
        name="board", placement=Placement((0, -100, 200), (0, -100, 0)), width_mm=50, height_mm=50
    )
    found = the(limits(rig(cards=(card,))), "in the picture", "board")
    assert found.broken
    assert found.sentence == "the card board stands in the picture"


def test_a_card_beside_the_view_is_not():
    card = Card(name="board", placement=Placement((0, 300, 200)), width_mm=50, height_mm=50)
    assert not the(limits(rig(cards=(card,))), "in the picture", "board").broken


def test_the_edge_of_the_picture_is_where_the_camera_projects_it():
    # Second method: the camera's own projection says when a board's nearest corner
    # enters the picture.
    camera = Camera(placement=Placement((0, 0, 500)))
    height, half = 100.0, 20.0
    for x in np.linspace(60, 160, 41):
        card = Card(
            name="board",
            placement=Placement((x, 0, height), (x, 0, height + 1)),
            width_mm=2 * half,
            height_mm=2 * half,
        )
        the_rig = rig(camera=camera, cards=(card,))
        corners = card_solid(card).corners_mm
        cols = camera.project(corners, 4000, 6000)[:, 1]
        inside = bool((cols < 6000 - 0.5).any())
        excess = the(limits(the_rig), "in the picture", "board").excess_mm
        assert (excess > 0) == inside


@pytest.mark.parametrize(("height", "depth"), [(350, 140), (1200, 160), (200, 25)])
def test_a_softbox_has_depth_and_a_panel_little(height, depth):
    # Usual housings, from memory.
    lamp = Lamp(name="key", placement=Placement((0, 600, 600)), width_mm=400, height_mm=height)
    solid = lamp_solid(lamp)
    behind = (solid.corners_mm - lamp.placement.position_mm) @ lamp.placement.axes()[2]
    assert behind.min() == pytest.approx(-depth)
    assert behind.max() == pytest.approx(0)


def test_two_boards_through_each_other():
    one = Card(name="one", placement=Placement((0, 400, 200)), width_mm=300, height_mm=200)
    two = replace(one, name="two", placement=Placement((50, 400, 200)))
    found = the(limits(rig(cards=(one, two))), "through each other", "one", "two")
    assert found.broken
    assert found.sentence == "the card one passes through the card two"
    away = replace(two, placement=Placement((500, 400, 200)))
    assert not the(limits(rig(cards=(one, away))), "through each other", "one", "two").broken


def test_a_board_may_stand_on_the_table_but_not_in_it():
    def board(z):
        return Card(
            name="board", placement=Placement((0, 300, z), (0, 0, z)), width_mm=300, height_mm=200
        )

    stands = the(limits(rig(cards=(board(99.5),))), "through each other", "board", "table")
    assert not stands.broken
    sunk = the(limits(rig(cards=(board(80),))), "through each other", "board", "table")
    # Closed form: 100 - 80 = 20 mm below z = 0, the table is 1 mm lower, 1 mm is free.
    assert sunk.excess_mm == pytest.approx(18.0, abs=0.01)


def test_reach_and_ceiling_say_how_far():
    room = Room(reach=Reach(highest_mm=1000, farthest_mm=900), walls=Walls(ceiling_mm=1100))
    lamp = Lamp(
        name="key", placement=Placement((0, 950, 1200), (0, 950, 0)), width_mm=200, height_mm=200
    )
    found = [x for x in limits(rig(lamps=(lamp,), room=room)) if x.broken]
    by_words = {x.sentence: x.excess_mm for x in found}
    assert by_words["key is higher than you can reach"] == pytest.approx(200)
    assert by_words["key is farther away than you can reach"] == pytest.approx(50)
    # The housing stands 25 mm above its face, which is 100 mm above the ceiling.
    assert by_words["the lamp key passes through the ceiling"] == pytest.approx(125)


def test_a_lens_stays_in_the_room_and_its_body_above_the_table():
    room = Room(walls=Walls(width_mm=1000, depth_mm=1600, ceiling_mm=500), table=Table())

    def told(place, body=None):
        camera = Camera(placement=Placement(place, (0, 0, 0)), body=body)
        there = rig(camera=camera, room=room)
        found = {x.sentence: x.excess_mm for x in broken(there) if x.elements[0] == "camera"}
        assert camera_fits(there) is not bool(found)
        return found

    assert told((0, -300, 450)) == {}
    assert told((0, -300, 560)) == {"the camera passes through the ceiling": pytest.approx(60)}
    assert told((0, -830, 450)) == {"the camera passes through a wall": pytest.approx(30)}
    assert told((530, 0, 450)) == {"the camera passes through a wall": pytest.approx(30)}
    # straight above, a body 100 mm deep at the least reaches higher than its lens
    assert told((0, 0, 495), Body(width_mm=140, height_mm=125, setback_mm=0)).keys() == {
        "the camera passes through the ceiling"
    }
    # a large body whose lens stands low beside the sheet reaches into the table
    low = told((0, -300, 40), Body(width_mm=200, height_mm=300, setback_mm=0))
    assert low.keys() == {"the camera passes through the table"}


def test_walls_go_round_all_things_and_the_lens_and_no_farther_than_they_must():
    room = Room(walls=Walls(width_mm=1200, depth_mm=1500, ceiling_mm=350))
    lamp = Lamp(
        name="key", placement=Placement((0, 950, 300), (0, 0, 300)), width_mm=200, height_mm=200
    )
    camera = Camera(placement=Placement((0, -200, 400)), body=None)
    there = rig(camera=camera, lamps=(lamp,), room=room)
    wide = walls_round(there, room.walls)
    # the lamp's face is at 950 mm, its housing 25 mm behind it, twice that from wall to wall;
    # the lens is as high as the lamp's upper edge
    assert (wide.width_mm, wide.depth_mm, wide.ceiling_mm) == (1200, 2000, 400)
    held = [x for x in broken(replace(there, room=replace(room, walls=wide))) if x.rule == "room"]
    assert held == []
    assert walls_round(there, wide) == wide


def test_a_hole_shows_the_sheet_or_says_by_how_much_it_does_not():
    camera = Camera(placement=Placement((0, 0, 500)))
    diagonal = math.hypot(100, 60)
    for diameter, hidden in ((0.5 * diagonal, False), (0.3 * diagonal, True)):
        card = Card(
            name="board",
            placement=Placement((0, 0, 300)),
            width_mm=400,
            height_mm=400,
            hole=Hole(diameter_mm=diameter),
        )
        found = the(limits(rig(camera=camera, cards=(card,))), "hides the sheet", "board")
        # Closed form: at 300 of 500 mm the cone to the corners is 0.4 of the diagonal.
        assert found.excess_mm == pytest.approx((0.4 * diagonal - diameter) / 2)
        assert found.broken is hidden


def test_a_cone_must_let_the_camera_look_in():
    camera = Camera(placement=Placement((0, 0, 800)))
    diagonal = math.hypot(100, 60)
    shell = Shell(name="cone", height_mm=400, top_width_mm=0.5 * diagonal + 10)
    found = the(limits(rig(camera=camera, shells=(shell,))), "hides the sheet", "cone")
    assert found.excess_mm == pytest.approx(-5.0)


def test_a_window_has_no_body():
    lamp = Lamp(name="window", placement=Placement((0, 200, 0.0), (0, 0, 500)), is_window=True)
    assert not broken(rig(lamps=(lamp,)))


def test_faults_of_fixed_things_are_not_held_against_the_plan():
    card = Card(
        name="board", placement=Placement((0, -100, 200), (0, -100, 0)), width_mm=50, height_mm=50
    )
    fixed = rig(cards=(card,))
    known = unmovable(fixed)
    assert ("in the picture", "board") in known
    assert total_excess_mm(fixed) > 0
    assert total_excess_mm(fixed, apart_from=known) == 0
    free = rig(
        cards=(card,), freedoms=(Freedom(element="board", dimension="z_mm", low=100, high=500),)
    )
    assert not unmovable(free)


def test_the_frame_reaches_from_the_lens_to_the_table():
    solid = frame_solid(rig(camera=Camera(placement=Placement((0, 0, 500)))))
    low = solid.corners_mm[1:]
    assert low[:, 2] == pytest.approx(-1.0)
    # Closed form: half the sensor over the focal length, times the way to the table.
    assert np.abs(low[:, 0]).max() == pytest.approx(501 * 23.5 / 100)


def test_the_gap_to_a_post_is_that_to_the_cylinder():
    # Closed form: axes 20 mm apart, radius 5 and half a box of 2: 14 mm. The prism round the
    # post is wider than the cylinder by 1 / cos(15 degrees) - 1 of its radius at most.
    post = Prop(name="stand", position_mm=(20, 0, -10), width_mm=10, depth_mm=10, height_mm=40)
    for turn in np.linspace(0, 2 * math.pi, 13):
        way = np.array([math.cos(turn), math.sin(turn), 0])
        # the little box faces the post, so that its flat side is nearest
        gap = gap_mm(unit_box(np.array([20.0, 0, 0]) - 20 * way, turn), prop_solid(post))
        assert 14 - 5 * (1 / math.cos(math.pi / 12) - 1) - 1e-9 <= gap <= 14 + 1e-9


def test_a_turned_box_and_the_same_box_as_a_mesh_are_equally_far():
    block = Prop(
        name="block",
        shape="box",
        position_mm=(40, 10, 0),
        width_mm=30,
        depth_mm=8,
        height_mm=20,
        turn_rad=math.radians(30),
    )
    corners = prop_solid(block).corners_mm
    around = np.array(
        [[0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7], [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5],
         [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7]]
    )  # fmt: skip
    low, high = corners.min(axis=0), corners.max(axis=0)
    foot = (*((low + high) / 2)[:2], low[2])
    mesh = Prop(name="mesh", shape="mesh", position_mm=foot, vertices=corners, faces=around)
    # Half sizes by hand: the box reaches 15 cos 30 + 4 sin 30 along x.
    reach = 15 * math.cos(math.radians(30)) + 4 * math.sin(math.radians(30))
    assert high[0] - 40 == pytest.approx(reach)
    across = 10 + 15 * math.sin(math.radians(30)) - 4 * math.cos(math.radians(30))
    for prop in (block, mesh):
        gap = gap_mm(unit_box([40 + reach + 6, across, 10]), prop_solid(prop))
        assert gap == pytest.approx(5.0, abs=1e-6), prop.name


def test_a_card_through_a_stand_is_a_broken_limit():
    stand = Prop(name="stand", position_mm=(0, 300, 0), width_mm=25, depth_mm=25, height_mm=400)
    card = Card(name="sky", placement=Placement((0, 300, 250)), width_mm=297, height_mm=210)
    found = the(limits(rig(props=(stand,), cards=(card,))), "through each other", "sky", "stand")
    assert found.broken
    assert found.sentence == "the card sky passes through the prop stand"
    clear = replace(card, placement=Placement((0, 400, 250)))  # its top leans to y = 344
    assert not broken(rig(props=(stand,), cards=(clear,)))
    over = replace(card, placement=Placement((0, 300, 405), (0, 300, 0)))
    assert not broken(rig(props=(stand,), cards=(over,)))  # hangs from its clamp


def test_a_stand_in_the_picture_is_told_and_excused_where_nothing_can_move_it():
    stand = Prop(name="stand", position_mm=(20, 60, 0), width_mm=25, depth_mm=25, height_mm=200)
    found = the(limits(rig(props=(stand,))), "in the picture", "stand")
    assert found.broken
    assert ("in the picture", "stand") in unmovable(rig(props=(stand,)))


def test_what_holds_a_thing_reaches_where_it_is(toy):
    lamp = replace(toy.rig().lamps[0], held=Held(by="stand", lowest_mm=700, highest_mm=1300))
    rig = replace(toy.rig(), lamps=(lamp,), freedoms=())
    height = lamp.placement.position_mm[2]
    (low,) = [x for x in limits(rig) if x.rule == "holding" and "lower" in x.sentence]
    assert low.excess_mm == pytest.approx(700 - height)
    assert "is lower than its stand goes" in low.sentence


@pytest.mark.parametrize(
    ("z", "aim_z", "says"), [(100, 100, None), (160, 160, "floats"), (100, 20, "falls")]
)
def test_a_board_on_the_table_neither_floats_nor_falls(toy, z, aim_z, says):
    board = Card(
        name="board",
        placement=Placement((0, 300, z), (0, 200, aim_z)),
        width_mm=300,
        height_mm=200,
        held=usually_held("table"),
    )
    rig = toy.rig(cards=(board,), freedoms=())
    found = [x.sentence for x in limits(rig) if x.rule == "holding" and x.broken]
    assert any(says in x for x in found) if says else not found
    stood = set_down(rig)
    assert not [x for x in limits(stood) if "floats" in x.sentence and x.broken]
