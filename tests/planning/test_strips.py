"""A bright band begins with a board that the foil sees as a strip, a split with its edge."""

import math

import numpy as np
import pytest

from lightplan.mirror.rays import hit_plane
from lightplan.planning.arrangements import Stage, strips
from lightplan.planning.choosing import candidates
from lightplan.planning.cupboard import Item, cupboard_of
from lightplan.planning.judging_pool import Judges
from lightplan.scene import Camera, Foil, Look, Placement, Rig, Sheet, usually_held
from lightplan.scene.clearance import broken

SOFTBOX = Item(name="softbox", kind="lamp", width_mm=500, height_mm=700)
WIDE = Item(name="board", kind="white board", width_mm=420, height_mm=297)
TALL = Item(name="sheets", kind="white board", width_mm=210, height_mm=297)
CLAMP = Item(name="clamp", kind="clamp", held=usually_held("clamp"))


def wanted(kind, direction_deg, *owned):
    """A sheet under a camera for a look that runs so, with what is owned."""
    rig = Rig(
        title="band",
        sheet=Sheet(width_mm=148, height_mm=105, foil=Foil(kind="aluminium")),
        camera=Camera(placement=Placement((0, -75, 164)), focal_length_mm=26, sensor_width_mm=36),
        look=Look(kind=kind, direction_rad=math.radians(direction_deg)),
    )
    return cupboard_of(rig, owned)


def seen_on(stage, card, spots_mm):
    """Which places of the sheet look at a card, by the mirror law alone."""
    hits, _ = hit_plane(stage.looks(np.asarray(spots_mm, float)), card.placement)
    return (np.abs(hits[:, 0]) < card.width_mm / 2) & (np.abs(hits[:, 1]) < card.height_mm / 2)


@pytest.mark.parametrize("board", [WIDE, TALL])
@pytest.mark.parametrize("direction_deg", [0, 30, 60, 90, 135])
def test_the_foil_sees_a_board_along_the_band_and_dark_on_both_sides(direction_deg, board):
    had = wanted("bright band", direction_deg, SOFTBOX, board, CLAMP)
    stage = Stage(had, had.base)
    drafts = list(strips.board_strip(stage))
    assert drafts
    turn = math.radians(direction_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    reach = 52.5 / max(abs(along[1]), abs(along[0]))
    out = 52.5 / max(abs(across[1]), abs(across[0]))
    shares = np.linspace(-0.6, 0.6, 7)[:, None]
    for draft in drafts:
        (card,) = draft.done().rig.cards
        assert seen_on(stage, card, shares * reach * along).all()
        assert not seen_on(stage, card, np.array([[-0.75], [0.75]]) * out * across).any()


@pytest.mark.parametrize("board", [WIDE, TALL])
def test_where_nothing_hangs_a_board_a_strip_of_one_that_leans_is_mirrored(board):
    had = wanted("bright band", 0, SOFTBOX, board)
    stage = Stage(had, had.base)
    drafts = list(strips.board_strip(stage))
    assert drafts
    beside = np.array([[0.0, -0.85 * 52.5], [0.0, 0.85 * 52.5]])
    for draft in drafts:
        rig = draft.done().rig
        (card,) = rig.cards
        assert card.held.by == "books"
        assert seen_on(stage, card, [(x, 0.0) for x in (-40.0, 0.0, 40.0)]).all()
        assert not seen_on(stage, card, beside).all()
        held = [x for x in broken(rig) if x.rule == "holding" and x.elements == (card.name,)]
        assert held == []


def test_a_board_that_would_fall_or_lie_on_a_corner_does_not_lean_as_a_strip():
    for direction_deg in (30, 90, 135):
        had = wanted("bright band", direction_deg, SOFTBOX, WIDE)
        assert list(strips.board_strip(Stage(had, had.base))) == []


@pytest.mark.parametrize("direction_deg", [0, 60, 90, 200])
def test_a_split_begins_with_a_boards_edge_through_the_middle(direction_deg):
    had = wanted("split", direction_deg, SOFTBOX, WIDE, CLAMP)
    stage = Stage(had, had.base)
    drafts = list(strips.board_edge(stage))
    assert drafts
    turn = math.radians(direction_deg)
    bright = np.array([math.cos(turn), math.sin(turn)])
    edge = np.array([-bright[1], bright[0]])
    beside = 25.0 * np.array([[-1.0], [0.0], [1.0]]) * edge
    for draft in drafts:
        (card,) = draft.done().rig.cards
        assert seen_on(stage, card, beside + 8.0 * bright).all()
        assert not seen_on(stage, card, beside - 8.0 * bright).any()


def test_the_strip_faces_the_lamp_that_lights_it():
    had = wanted("bright band", 60, SOFTBOX, WIDE, CLAMP)
    faces = 0
    for draft in strips.board_strip(Stage(had, had.base)):
        rig = draft.done().rig
        (card,), (lamp,) = rig.cards, rig.lamps
        _, _, normal = card.placement.axes()
        towards = np.subtract(lamp.placement.position_mm, card.placement.position_mm)
        faces += float(towards @ normal) > 0
    assert faces >= 4  # of six places of the lamp; over the camera and from below it grazes some


def test_where_nothing_hangs_a_board_there_is_no_strip_in_the_air():
    had = wanted("bright band", 60, SOFTBOX, WIDE)
    assert not list(strips.board_strip(Stage(had, had.base)))


def test_the_best_first_look_for_a_band_shows_one():
    # one softbox and one board, on which all other arrangements begin without any band
    had = wanted("bright band", 60, SOFTBOX, WIDE, CLAMP)
    with Judges(had.given) as judges:
        best = candidates(judges, had, quick=True)[0]
        judges.use(best.rig)
        found = judges.bench.judge(best.rig)
    assert not broken(best.rig)
    assert found.measures["foil_band_stops"].value > 0.8, best.name
