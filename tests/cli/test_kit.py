"""What is worth buying: the advice in words, and what already stands in the rig."""

from dataclasses import replace

import pytest

from lightplan.planning.catalogue import catalogue
from lightplan.planning.cupboard import Item
from lightplan.planning.effort import Effort
from lightplan.planning.kit_words import HELPS_FROM, Offer, kit_sentences
from lightplan.planning.offers import advise_kit, pairs_worth_trying
from lightplan.rigfiles import Thing, load_rig
from lightplan.scene import Room
from lightplan.tasks.owned import spare

RIG = load_rig("silver-bookplate-bright")
BOARD = Item(name="A2 board", kind="white board", width_mm=594, height_mm=420, price=6.0)
BLACK = Item(name="black board", kind="black board", width_mm=594, height_mm=420, price=2.0)
CLOTH = Item(name="diffuser", kind="diffuser", width_mm=600, height_mm=600, price=1.5)
LAMP = Item(name="second lamp", kind="lamp", width_mm=300, height_mm=300)


def offer(score, *items, fits=True):
    prices = [item.price for item in items]
    price = None if None in prices else sum(prices)
    rig = RIG.rig if fits else None
    reason = "" if fits else "it does not fit into the room"
    return Offer(items=items, price=price, rig=rig, score=score, reason=reason)


def advice(base, ranked, cheapest=None, owned=(), *, needs_nothing=False):
    said = kit_sentences(base, ranked, cheapest, frozenset(owned), needs_nothing=needs_nothing)
    return "\n".join(said)


def test_what_stands_in_the_rig_is_not_tried_again():
    # the preset owns a foam board, an LED bar and a softbox, and all three stand in it
    assert len(RIG.owned) == 3
    assert spare(RIG.owned, RIG.rig) == []
    turned = Thing(kind="lamp", width_mm=120, height_mm=300, count=2)
    assert spare([turned], RIG.rig) == [replace(turned, count=1)]  # one stands, one is left
    assert spare([replace(turned, count=1)], RIG.rig) == []
    other = Thing(kind="white board", width_mm=421, height_mm=420)
    assert spare([other], RIG.rig) == [other]


def test_nothing_needs_buying_and_a_lamp_does_not_help():
    said = advice(offer(88.0), [offer(88.4, LAMP)], needs_nothing=True)
    assert said.startswith("Nothing needs buying: what you own reaches 88 of 100.")
    assert "A further lamp does not help" in said
    assert "second lamp: does not help; price not known" in said


def test_the_cheapest_is_named_with_its_price_and_what_it_gains():
    best = offer(90.0, BOARD)
    said = advice(offer(50.0), [best, offer(80.0, LAMP)], best)
    assert "The cheapest that meets the look is A2 board; it costs 6: 90 of 100" in said
    assert "A2 board: 90, +40 points; price 6" in said
    assert "further lamp does not help" not in said


@pytest.mark.parametrize(
    ("item", "owned", "words"),
    [
        (BOARD, ["A2 board"], "you own A2 board already"),
        (LAMP, [], "(price not known)"),
        (replace(BOARD, price=0.0), [], "it costs nothing"),
    ],
)
def test_owned_and_unknown_and_free_are_told_apart(item, owned, words):
    best = offer(90.0, item)
    assert words in advice(offer(50.0), [best], best, owned)


def test_who_has_no_lamp_is_offered_one_and_told_why_boards_do_not_help():
    # a cupboard with a board alone was told that boards do not fit into the room
    dark = replace(RIG.rig, lamps=(), cards=(), shells=(), freedoms=(), room=Room())
    (lamp,) = [item for item in catalogue(dark) if item.kind == "lamp"]
    assert lamp.name == "a LED panel 300 x 200 mm"
    told = advise_kit(dark, owned=[BOARD], shop=[BLACK, lamp], effort=Effort(evaluations=10))
    by_name = {one.name: one for one in told.offers}
    assert by_name[lamp.name].rig is not None
    assert by_name[lamp.name].score > told.base.score + HELPS_FROM
    assert by_name[BLACK.name].reason == "there is no lamp to light it"


def test_a_lamp_like_the_one_that_is_only_owned_is_offered():
    bare = replace(RIG.rig, lamps=(), freedoms=())
    mine = Item(name="softbox", kind="lamp", width_mm=500, height_mm=700)
    small = Item(name="torch", kind="lamp", width_mm=50, height_mm=50)
    (lamp,) = [item for item in catalogue(bare, [small, mine]) if item.kind == "lamp"]
    assert (lamp.name, lamp.width_mm) == ("another lamp like softbox", 500)


def test_a_window_is_not_for_sale():
    window = next(item for item in catalogue(RIG.rig) if item.kind == "window")
    found = offer(90.0, window)
    assert "A window meets the look best: 90 of 100 instead of 50 (if there is one)." in advice(
        offer(50.0), [found], found
    )


def test_where_nothing_meets_the_look_the_best_is_named():
    said = advice(offer(50.0), [offer(40.0, BOARD), offer(0.0, LAMP, fits=False)])
    assert "Nothing that was tried meets the look (75 of 100); the best is what you own" in said
    assert "Second lamp cannot be used here: it does not fit into the room." in said


def test_pairs_are_the_best_ones_where_nothing_alone_will_do():
    offers = [offer(60.0, BOARD), offer(50.0, BLACK), offer(40.0, CLOTH)]
    first = pairs_worth_trying(offers)[0]
    assert {item.name for item in first} == {"A2 board", "black board"}


def test_a_cheaper_pair_is_tried_where_a_thing_alone_will_do():
    # 2 + 1.5 is less than 6; all pairs with the board cost more than the board
    offers = [offer(90.0, BOARD), offer(50.0, BLACK), offer(40.0, CLOTH), offer(70.0, LAMP)]
    assert pairs_worth_trying(offers) == [(BLACK, CLOTH)]
    assert pairs_worth_trying([offer(90.0, LAMP), offer(50.0, BLACK), offer(40.0, CLOTH)]) == []
