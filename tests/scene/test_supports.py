"""What holds things: stacks that carry and are leaned on, poles that do not pierce the table."""

from dataclasses import replace

import numpy as np
import pytest

from lightplan.reports.set_model import _books
from lightplan.reports.setup.elements import elements_of
from lightplan.reports.setup.holding_words import holding_words
from lightplan.reports.setup.views import PLAN, extent_of
from lightplan.scene import Camera, Card, Lamp, Placement, Rig, Sheet
from lightplan.scene.clearance import broken
from lightplan.scene.holding import HOLDER_KINDS, usually_held
from lightplan.scene.supports import supports_of
from lightplan.words.holders import holders_needed

LEANING = Card(
    name="board",
    placement=Placement((0.0, 300.0, 100.0), (0.0, 0.0, 200.0)),  # leans back, faces the maker
    width_mm=420,
    height_mm=297,
)
KEY = Lamp(name="key", placement=Placement((400.0, 0.0, 700.0)))


def rig(*, card=None, lamp=None, camera=None):
    return Rig(
        title="supports",
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -300, 500)), held=camera),
        cards=() if card is None else (card,),
        lamps=() if lamp is None else (lamp,),
    )


def held(thing, by):
    return replace(thing, held=usually_held(by))


def test_what_holds_nothing_is_not_drawn():
    assert supports_of(rig(card=LEANING, lamp=KEY)) == ()
    assert supports_of(rig(lamp=replace(held(KEY, "stand"), on=False))) == ()
    assert holders_needed(rig(card=LEANING, lamp=KEY)) == ()


def test_a_card_that_stands_on_the_table_leans_on_books_behind_it():
    (found,) = supports_of(rig(card=held(LEANING, "table")))
    (stack,) = found.stacks
    normal = LEANING.placement.axes()[2]
    off = (stack - np.asarray(LEANING.placement.position_mm)) @ normal
    assert off.max() <= 1e-6  # all of it behind the card's plane ...
    assert off.max() > -60  # ... and some of it near: the card touches its upper edge
    assert stack[:, 2].min() == pytest.approx(-1.0)  # on the table's top
    assert 0 < found.stack_heights_mm[0] < LEANING.height_mm


def test_a_raised_card_stands_on_one_stack_and_leans_on_another():
    raised = replace(LEANING, placement=Placement((0.0, 300.0, 300.0), (0.0, 0.0, 400.0)))
    (found,) = supports_of(rig(card=held(raised, "books")))
    under, behind = found.stacks
    _, up, _ = raised.placement.axes()
    low = np.asarray(raised.placement.position_mm) - raised.height_mm / 2 * up
    assert under[:, 2].max() == pytest.approx(low[2])
    assert np.allclose(under[:4, :2].mean(axis=0), low[:2])
    assert behind[:, 1].min() > low[1]
    (words,) = holders_needed(rig(card=held(raised, "books")), "cm")
    assert words.startswith("books for 2 stacks, ")
    assert words.endswith(" cm high")


@pytest.mark.parametrize("by", ["stand", "boom", "tripod", "clamp"])
@pytest.mark.parametrize("at", [(400.0, 0.0, 700.0), (-100.0, 350.0, 400.0), (900.0, 0.0, 700.0)])
def test_poles_stand_beside_the_table_and_reach_what_they_hold(by, at):
    lamp = held(replace(KEY, placement=Placement(at)), by)
    built = rig(lamp=lamp)
    (found,) = supports_of(built)
    table = built.room.table
    half = np.array([table.width_mm, table.depth_mm]) / 2
    (pole,) = found.lines
    assert np.allclose(pole[-1], at)
    foot, top = pole[0], pole[1]
    assert np.allclose(foot[:2], top[:2])  # upright
    assert (np.abs(foot[:2]) >= half - 1e-6).any()  # never through the table's top
    assert len(found.legs) == (0 if by == "clamp" else 3)


def test_holders_are_counted():
    both = replace(
        rig(lamp=held(KEY, "stand"), camera=usually_held("tripod")),
        lamps=(held(KEY, "stand"), replace(held(KEY, "stand"), name="fill")),
    )
    assert holders_needed(both) == ("2 light stands", "a tripod")


@pytest.mark.parametrize("by", HOLDER_KINDS)
def test_every_kind_can_be_drawn(by):
    built = rig(card=held(LEANING, by), lamp=held(KEY, by), camera=usually_held(by))
    for support in supports_of(built):
        assert support.lines or support.stacks
        for part in _books(support):
            assert part.triangles.max() == 7
        for points in (*support.stacks, *support.lines, *support.legs):
            assert np.isfinite(points).all()
    # books are within the drawing, however far behind a card they lie
    extent = extent_of(built, elements_of(built), PLAN)
    stacks = [stack for support in supports_of(built) for stack in support.stacks]
    for stack in stacks:
        assert (stack[:, :2].min(axis=0) >= np.array(extent.low) - 1e-9).all()
        assert (stack[:, :2].max(axis=0) <= np.array(extent.high) + 1e-9).all()


ROOF = replace(
    LEANING, placement=Placement((0.0, 0.0, 270.0), (0.0, 0.0, 0.0)), width_mm=420, height_mm=297
)


def test_a_level_card_lies_across_two_stacks_at_its_ends_and_does_not_fall():
    there = rig(card=held(ROOF, "books"))
    (found,) = supports_of(there)
    left, right = sorted(found.stacks, key=lambda stack: stack[:, 0].mean())
    for stack, side in ((left, -1), (right, 1)):
        assert side * stack[:, 0].mean() == pytest.approx(210 - 75)  # under its ends, flush
        assert np.abs(stack[:, 0]).min() > 45  # beside the sheet
    assert max(found.stack_heights_mm) == pytest.approx(271.0)
    assert not [limit for limit in broken(there) if limit.rule == "holding"]
    assert "laid across two stacks of books 270 mm high" in holding_words(
        held(ROOF, "books"), np.array([-210.0, -148.0, 270.0]), there.sheet, "mm"
    )
    leaning = replace(ROOF, placement=Placement((0.0, 300.0, 270.0), (0.0, 0.0, 0.0)))
    assert "falls" in " ".join(limit.sentence for limit in broken(rig(card=held(leaning, "books"))))


def test_a_phone_on_a_board_lies_and_does_not_stand():
    phone = Camera(placement=Placement((0, 0, 280)), held=usually_held("table"))
    words = holding_words(phone, np.zeros(3), rig().sheet, "mm")
    assert words == "laid on what is under it"
