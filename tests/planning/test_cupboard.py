"""What may be used, the arrangements made of it, and the plan from a bare cupboard."""

import math
from dataclasses import replace

import numpy as np
import pytest

from lightplan.planning.all_looks import wanted_looks, with_look
from lightplan.planning.arrangements import Stage, arrangements
from lightplan.planning.arrangements.keys import off_mirror
from lightplan.planning.cupboard import Item, cupboard_of
from lightplan.planning.effort import Effort
from lightplan.planning.everything import plan_everything
from lightplan.planning.poses import poses
from lightplan.planning.result import NoPlan
from lightplan.planning.twins import named_as_given
from lightplan.scene import (
    Camera,
    Card,
    Foil,
    Freedom,
    Grating,
    Lamp,
    Look,
    Paper,
    Placement,
    Rig,
    Room,
    Sheet,
    Walls,
    usually_held,
)
from lightplan.scene.clearance import broken, camera_fits
from lightplan.scene.edits import Set, edited
from lightplan.scene.framing import FILLED, framing
from lightplan.scene.supports import lies_across

OWNED = (
    Item(name="softbox", kind="lamp", width_mm=400, height_mm=400),
    Item(name="panel", kind="lamp", width_mm=220, height_mm=160),
    Item(name="A2 board", kind="white board", width_mm=594, height_mm=420),
    Item(name="A3 board", kind="white board", width_mm=420, height_mm=297),
    Item(name="tissue", kind="diffuser", width_mm=500, height_mm=500),
    Item(name="string", kind="string"),
)


def bare(**changes):
    """A sheet under a camera, and nothing else."""
    return Rig(
        title="bare",
        sheet=Sheet(width_mm=100, height_mm=70),
        camera=Camera(placement=Placement((0, -260, 400)), focal_length_mm=50),
        **changes,
    )


@pytest.fixture(scope="module")
def planned():
    """One plan for all that asks for one."""
    rig = bare(look=Look(kind="gradient"))
    effort = Effort(evaluations=60, polish=0, builds=16, searched=1, is_quick=True)
    return plan_everything(rig, OWNED, effort=effort)


def test_a_sheet_a_camera_and_owned_things_can_be_planned(planned):
    assert planned, planned
    assert planned.score > 0
    assert planned.arrangement
    assert set(planned.brought_in) <= {item.name for item in OWNED}
    assert planned.brought_in
    assert not broken(planned.rig)


def test_what_is_planned_fills_the_frame(planned):
    found = framing(planned.rig.camera, planned.rig.sheet)
    assert FILLED[0] - 0.01 <= found.filled <= FILLED[1] + 0.01
    assert found.inside == 1.0


def test_what_is_locked_stays_and_what_is_a_window_too():
    board = Card(name="board", placement=Placement((0, 300, 200)), width_mm=300, height_mm=300)
    kept = replace(board, name="kept", placement=Placement((400, 0, 200)), locked=True)
    window = Lamp(name="window", placement=Placement((-900, 0, 600)), is_window=True)
    cupboard = cupboard_of(bare(cards=(board, kept), lamps=(window,)), OWNED)
    assert [card.name for card in cupboard.base.cards] == ["kept"]
    assert [lamp.name for lamp in cupboard.base.lamps] == ["window"]
    assert [card.name for card in cupboard.boards] == ["A2 board", "A3 board", "board"]


def test_two_of_a_name_become_two_names():
    twice = cupboard_of(bare(), (OWNED[0], OWNED[0]))
    assert [lamp.name for lamp in twice.lamps] == ["softbox", "softbox 2"]


@pytest.mark.parametrize("kind", ["bright field", "gradient", "bright band", "split", "dark field"])
def test_each_look_has_arrangements_of_owned_things_alone(kind):
    rig = bare(look=Look(kind=kind))
    found = list(arrangements(Stage(cupboard_of(rig, OWNED), rig)))
    assert len(found) > 3
    names = {item.name for item in OWNED}
    for one in found:
        assert set(one.rig.element_names()) <= names
        assert any(lamp.on for lamp in one.rig.lamps), "something shines"


def test_a_board_is_not_hung_where_nothing_hangs_it():
    rig = bare(look=Look(kind="gradient"))
    without = [item for item in OWNED if item.kind != "string"]
    for one in arrangements(Stage(cupboard_of(rig, without), rig)):
        for card in one.rig.cards:
            assert card.held is None or card.held.by in ("table", "books")


@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_two_lamps_on_the_paper_stay_on_their_sides(side):
    """The first was always put at the left: makers carried two stands past each other."""
    first, other = (
        Lamp(
            name=name,
            placement=Placement((x, 0, 400)),
            width_mm=wide,
            height_mm=200,
            held=usually_held("stand"),
        )
        for name, x, wide in (("first", side * 500, 300), ("other", side * -500, 200))
    )
    rig = bare(look=Look(kind="dark field"), lamps=(first, other))
    board = Item(name="board", kind="white board", width_mm=420, height_mm=297)
    had = cupboard_of(rig, (board,))
    pairs = [
        {lamp.name: lamp.placement.position_mm[0] for lamp in one.rig.lamps}
        for one in arrangements(Stage(had, had.base))
        if one.name.count("on the paper") == 2
    ]
    assert pairs
    for at in pairs:
        assert side * at["first"] > 0 > side * at["other"]


def holders_of_cards(rig, owned):
    """Return, of each arrangement, what holds its cards."""
    stage = Stage(cupboard_of(rig, owned), rig)
    return [
        [card.held.by for card in one.rig.cards if card.held is not None]
        for one in arrangements(stage)
    ]


@pytest.mark.parametrize("kind", ["bright field", "gradient", "bright band", "split", "dark field"])
def test_the_stand_of_a_lamp_holds_no_card(kind):
    """It holds the lamp: a set that needs one more stand uses what is not owned."""
    lamp = Lamp(
        name="lamp",
        placement=Placement((-400, 0, 300)),
        width_mm=300,
        height_mm=300,
        held=usually_held("stand"),
    )
    rig = bare(look=Look(kind=kind), lamps=(lamp,))
    boards = [item for item in OWNED if item.kind == "white board"]
    used = {by for cards in holders_of_cards(rig, boards) for by in cards}
    assert used <= {"books", "table"}
    with_stand = [*boards, Item(name="stand", kind="stand")]
    if kind == "bright field":
        assert "stand" in {by for cards in holders_of_cards(rig, with_stand) for by in cards}


def test_one_clamp_holds_one_card():
    rig = bare(look=Look(kind="gradient"))
    things = [item for item in OWNED if item.kind != "string"]
    for count in (1, 2):
        clamps = [Item(name=f"clamp {n}", kind="clamp") for n in range(count)]
        most = max(cards.count("clamp") for cards in holders_of_cards(rig, [*things, *clamps]))
        assert most == count


def test_on_books_alone_a_board_lies_level_over_the_sheet():
    """Whatever leans forward falls off them; it lies level wherever the search moves it."""
    rig = bare(look=Look(kind="bright field"))
    things = [item for item in OWNED if item.kind in ("lamp", "white board")]
    found = [
        one for one in arrangements(Stage(cupboard_of(rig, things), rig))
        if "across two stacks of books" in one.name
    ]  # fmt: skip
    assert found
    for one in found:
        (lying,) = (card for card in one.rig.cards if card.held.by == "books")
        for freedom in one.rig.freedoms:
            if freedom.element != lying.name:
                continue
            for value in (freedom.low, freedom.high):
                moved = edited(one.rig, Set(lying.name, freedom.dimension, value))
                card = next(c for c in moved.cards if c.name == lying.name)
                assert lies_across(card)
                right, _, _ = card.placement.axes()
                assert abs(right[0]) == pytest.approx(1.0, abs=1e-3), "its sides stay square"
                rules = [at.rule for at in broken(moved) if lying.name in at.elements]
                assert "holding" not in rules


def test_freedoms_narrow():
    lamp = Lamp(name="key", placement=Placement((300, 0, 400)), width_mm=300, height_mm=300)
    free = Freedom(element="key", dimension="z_mm", low=380, high=420)
    rig = bare(lamps=(lamp,), freedoms=(free,), look=Look(kind="gradient"))
    for one in arrangements(Stage(cupboard_of(rig), rig)):
        for freedom in one.rig.freedoms:
            if (freedom.element, freedom.dimension) == ("key", "z_mm"):
                assert 380 <= freedom.low < freedom.high <= 420


def test_a_locked_camera_is_not_moved():
    rig = bare()
    camera = replace(rig.camera, locked=True)
    assert [pose.camera for pose in poses(replace(rig, camera=camera))] == [camera]


def test_a_camera_straight_above_leans():
    rig = bare()
    above = replace(rig.camera, placement=Placement((0, 0, 400)))
    found = list(poses(replace(rig, camera=above)))
    assert found
    for pose in found:
        x, y, z = pose.camera.placement.position_mm
        assert math.hypot(x, y) > 0.3 * z


def test_a_camera_that_is_not_locked_is_put_neither_into_the_ceiling_nor_into_a_wall():
    rig = bare()
    rig = replace(rig, camera=next(poses(rig)).camera)
    assert next(poses(rig)).words == "as given"
    high = rig.camera.placement.position_mm[2]
    low = replace(rig, room=replace(rig.room, walls=Walls(ceiling_mm=high - 20)))
    for pose in poses(low):
        assert pose.words != "as given"
        assert camera_fits(replace(low, camera=pose.camera))
    narrow = replace(rig, room=replace(rig.room, walls=Walls(width_mm=300, depth_mm=300)))
    assert list(poses(narrow)) == []
    found = plan_everything(narrow, OWNED)
    assert not found
    assert "the camera passes through a wall" in found.reason
    locked = replace(low, camera=replace(rig.camera, locked=True))
    assert [pose.words for pose in poses(locked)] == ["as given"]


def test_the_first_order_leaves_where_the_grating_equation_says():
    # sin(out) - sin(mirror) = wavelength x lines: 550 nm x 1000 lines/mm = 0.55
    foil = Foil(grating=Grating(lines_per_mm=1000, direction_rad=0.0))
    rig = bare()
    rig = replace(rig, sheet=replace(rig.sheet, foil=foil))
    stage = Stage(cupboard_of(rig, OWNED), rig)
    assert (off_mirror(stage, 1.0) - stage.ray)[0] == pytest.approx(0.55)
    assert np.linalg.norm(off_mirror(stage, -1.0)) == pytest.approx(1.0)


def test_no_lamp_is_told_as_a_friend_would():
    found = plan_everything(bare(), OWNED[2:4])
    assert isinstance(found, NoPlan)
    assert "there is no light in this rig" in found.reason
    assert "window" in found.wish


def test_everything_locked_is_told():
    lamp = Lamp(name="key", placement=Placement((300, 0, 400)), width_mm=300, height_mm=300)
    rig = bare(lamps=(replace(lamp, locked=True),))
    rig = replace(rig, camera=replace(rig.camera, locked=True))
    found = plan_everything(rig, effort=Effort(evaluations=10, is_quick=True))
    if isinstance(found, NoPlan):
        assert "everything is locked (key)" in found.reason
    else:
        assert not found.moves


def test_lamps_that_are_alike_keep_their_names_by_where_they_stood(planned):
    left, right = (
        Lamp(name=name, placement=Placement((x, 0, 400)), width_mm=300, height_mm=300)
        for name, x in (("left", -500), ("right", 500))
    )
    given = bare(lamps=(left, right, replace(right, name="big", width_mm=500)))
    crossed = replace(
        given,
        lamps=(
            replace(left, placement=Placement((450, 90, 400)), trim_stops=-2.0),
            replace(right, placement=Placement((-480, 0, 300)), trim_stops=-1.0),
            replace(given.lamps[2], placement=Placement((-700, 0, 400))),
        ),
    )
    matters = replace(planned.robustness, critical=(("left", "x_mm"),), tolerances=())
    whole = replace(planned, rig=crossed, robustness=matters, covered={"left": 0.4, "big": 0.1})
    found = named_as_given(whole, given)
    assert [(lamp.name, lamp.trim_stops) for lamp in found.rig.lamps] == [
        ("right", -2.0),
        ("left", -1.0),
        ("big", 0.0),  # is not alike
    ]
    assert found.robustness.critical == (("right", "x_mm"),)
    assert found.covered == {"right": 0.4, "big": 0.1}
    free = Freedom(element="left", dimension="x_mm", low=-600, high=600)
    assert named_as_given(whole, replace(given, freedoms=(free,))) is whole


def test_planned_figures_are_rounded(planned):
    for lamp in planned.rig.lamps:
        assert lamp.trim_stops == round(lamp.trim_stops, 2)
        assert all(v == round(v, 1) for v in lamp.placement.position_mm)


def test_looks_that_a_foil_and_stock_cannot_carry_have_a_reason():
    plain, why = wanted_looks(bare())
    assert "rainbow" in why
    assert "grating" in why["rainbow"]
    assert "gradient" in plain
    dark = replace(bare(), sheet=replace(bare().sheet, paper=Paper(reflectance=(0.04,) * 3)))
    assert "dark field" in wanted_looks(dark)[1]
    shiny = replace(bare(), sheet=replace(bare().sheet, foil=Foil(grating=Grating())))
    assert "rainbow" in wanted_looks(shiny)[0]


def test_a_dark_room_with_a_probe_or_ambient_light_is_lit():
    assert cupboard_of(bare(room=Room(ambient_cd_m2=(5.0, 5.0, 5.0)))).has_light
    assert not cupboard_of(bare()).has_light


def test_a_level_set_by_hand_belongs_to_the_look_it_was_set_for():
    rig = bare(look=Look(kind="gradient"))
    exposure = replace(rig.camera.exposure, paper_level=0.2)
    rig = replace(rig, camera=replace(rig.camera, exposure=exposure))
    assert with_look(rig, "gradient").camera.exposure.paper_level == 0.2
    other = with_look(rig, "bright band")
    # the stock's own reflectance, 0.85, is what white paper is exposed to
    assert other.camera.exposure.level_on(other.sheet.paper) == pytest.approx(0.85)
