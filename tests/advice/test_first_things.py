"""Which move is told first, and in which words; scores by a worth that is worked out on paper."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pytest

from lightplan.advice.first_things import FirstOption, State, first_of, options_of
from lightplan.advice.helps import is_sure, less_light, steps_of_state, trims_of_state
from lightplan.advice.memory import Memory
from lightplan.advice.orders import exposure_order, foreign_order, foreign_words
from lightplan.advice.slip_words import undo_words, what_is_off
from lightplan.advice.worth import CameraAsSet
from lightplan.measures import Measures
from lightplan.measures.verdict import Gate
from lightplan.scene import Camera as Lens
from lightplan.scene import Card, Lamp, Placement, Rig, Sheet
from lightplan.scene.foreign import Foreign
from lightplan.scene.slips import Slip, slipped, without
from lightplan.shots.results import PhotoScore
from lightplan.tasks import move_told
from lightplan.tasks.advice_words import plan_is_poor, sentence_of
from lightplan.tasks.move_told import Before, choose, surest

KEY = Lamp(name="key", placement=Placement((300, 0, 500)))
BOARD = Card(name="board", placement=Placement((0, 300, 300)), width_mm=300, height_mm=300)
RIG = Rig(
    title="paper",
    sheet=Sheet(width_mm=90, height_mm=60),
    lamps=(KEY,),
    cards=(BOARD,),
    camera=Lens(placement=Placement((0, -300, 600))),
)


def slip(element, dimension, value, unit="mm"):
    return Slip(
        element=element,
        dimension=dimension,
        value=value,
        unit=unit,
        uncertainty=1.0,
        confidence=0.9,
    )


@dataclass
class OnPaper:
    """A worth that loses a point for each cm the key is off, and ten for each stop."""

    def look_ahead(self, rigs, *cameras):
        list(rigs)

    def score(self, rig, camera):
        away = abs(rig.lamps[0].placement.position_mm[0] - 300) / 10
        return 90 - away - 10 * abs(camera.stops)

    def brightness(self, rig, camera, *, foil):
        return np.linspace(-2.0, 0.0, 1001)


def state(*slips, stops=0.0):
    return State(
        planned=RIG,
        slips=slips,
        foreign=(),
        camera=CameraAsSet(clip_cd_m2=100, stops=stops),
        time_s=1 / 20,
    )


def test_each_slip_is_worth_what_undoing_it_wins():
    slips = (slip("key", "x_mm", 60.0), slip("exposure", "stops", 1.0, "stops"))
    found = options_of(state(*slips, stops=1.0), OnPaper())
    assert {o.element: pytest.approx(o.gain) for o in found} == {"key": 6.0, "exposure": 10.0}


def test_exposure_comes_before_a_lamp_that_costs_as_much():
    slips = (slip("key", "x_mm", 120.0), slip("exposure", "stops", 1.0, "stops"))
    told = first_of(options_of(state(*slips, stops=1.0), OnPaper()))
    assert told.element == "exposure"
    assert told.text == "expose 1 stop (half) less: 1/40 instead of 1/20"


def test_a_lamp_that_costs_far_more_comes_before_the_exposure():
    slips = (slip("key", "x_mm", 400.0), slip("exposure", "stops", 1.0, "stops"))
    told = first_of(options_of(state(*slips, stops=1.0), OnPaper()))
    assert told.text == "move the lamp 'key' 400 mm to the left"


def test_nothing_is_asked_for_less_than_a_point():
    assert first_of(options_of(state(slip("key", "x_mm", 5.0)), OnPaper())) is None


def test_of_moves_alike_the_knob_goes_before_the_stand():
    one = FirstOption("move", "key", "x_mm", 1.0, "mm", RIG, CameraAsSet(clip_cd_m2=1), gain=5.5)
    two = replace(one, text="turn down", dimension="power_stops", unit="stops", gain=5.0)
    assert first_of([one, two]).text == "turn down"


def test_with_two_things_badly_off_the_one_that_counts_last_is_still_told():
    class Gated:
        def score(self, rig, camera):
            right = abs(rig.lamps[0].placement.position_mm[0] - 300) < 1 and abs(camera.stops) < 0.1
            return 90.0 if right else 1.0

    slips = (slip("key", "x_mm", 120.0), slip("exposure", "stops", 1.0, "stops"))
    found = options_of(state(*slips, stops=1.0), Gated())
    assert [o.gain for o in found] == [0.0, 0.0]
    assert [o.worth for o in found] == [44.5, 44.5]
    assert first_of(found).element == "exposure"


def test_a_clipped_photograph_gets_less_light_whatever_was_found():
    assert less_light(state(), OnPaper(), {"foil": 0.0}, [1.0, 1.0]) is None
    told = less_light(state(), OnPaper(), {"foil": 0.6, "paper": 0.0}, [0.2, 1.0])
    assert told.value == -1.0
    assert "1 stop (half) less" in told.text


@pytest.mark.parametrize(("run_stops", "thirds"), [(0.1, 1), (1.4, 2), (6.0, 3)])
def test_evenly_lit_foil_is_never_far_beyond_the_end(run_stops, thirds):
    """A quarter is clipped: where the foil runs over a tenth of a stop a third less is enough."""

    class Lit(OnPaper):
        def brightness(self, rig, camera, *, foil):
            return np.linspace(-run_stops, 0.0, 1001) if foil else np.full(9, -5.0)

    told = less_light(state(), Lit(), {"foil": 0.25, "paper": 0.0}, [0.2, 1.0])
    assert told.value == pytest.approx(-thirds / 3)


@pytest.mark.parametrize(
    ("lifts", "other", "told"),
    [(True, 5.0, "tone curve"), (True, 25.0, "key"), (False, 25.0, "tone curve")],
)
def test_a_curve_that_the_plan_counts_on_is_left_where_something_wins_more(
    monkeypatch, lifts, other, told
):
    class Lifted(OnPaper):
        def measures(self, rig, camera):
            return Measures({})

        def score(self, rig, camera):
            return 50.0 if camera.lift_stops else 70.0

    planned = replace(RIG, camera=replace(RIG.camera, tone_curve="phone" if lifts else "plain"))
    here = replace(state(), planned=planned, camera=CameraAsSet(clip_cd_m2=100, lift_stops=0.6))
    monkeypatch.setattr(move_told, "trims_of_state", lambda *_: [step(3, other)])
    score = PhotoScore(file="a.jpg", path="a.jpg", score=50.0)
    plan = Before(Memory(), planned, CameraAsSet(clip_cd_m2=100))
    assert choose(score, [], here, Lifted(), plan).element == told


@pytest.mark.parametrize(
    ("one", "off", "order"),
    [
        (slip("board", "y_mm", 42.0), "stands about 40 mm too far away", "40 mm towards you"),
        (slip("key", "z_mm", -31.0), "about 30 mm too low", "raise the lamp 'key' 30 mm"),
        (slip("key", "power_stops", 1.0, "stops"), "1 stop (twice) too bright", "(to half)"),
        (slip("key", "missing", 1.0, ""), "is not on", "switch the lamp 'key' on"),
        (slip("board", "missing", 1.0, ""), "is not there", "where the plan has it"),
        (slip("sheet", "bow_mm", 1.4), "1.4 mm higher", "press the sheet flat"),
    ],
)
def test_slips_are_told_in_a_makers_words(one, off, order):
    assert off in what_is_off(RIG, one)
    assert order in undo_words(RIG, one)


def test_undoing_by_the_slips_own_words_leads_back_to_the_plan():
    # the turn of a face: what undo says is the opposite of what the slip did, by its own axes
    turned = slipped(RIG, {("board", "turn_deg"): 7.0})
    way = [
        b - a for a, b in zip(BOARD.placement.aim_mm, turned.cards[0].placement.aim_mm, strict=True)
    ]
    side = "to the right" if way[0] > 0 else "to the left"
    other = "to the left" if way[0] > 0 else "to the right"
    assert side in what_is_off(RIG, slip("board", "turn_deg", 7.0, "deg"))
    assert other in undo_words(RIG, slip("board", "turn_deg", 7.0, "deg"))


def test_what_is_missing_is_off_or_gone_with_its_freedoms():
    assert not without(RIG, ["key"]).lamps[0].on
    assert without(RIG, ["board"]).cards == ()


def test_foreign_light_is_told_by_side_and_height():
    light = Foreign(
        direction=(-0.9, 0.1, 0.42),
        distance_mm=1500,
        width_mm=600,
        luminance_cd_m2=(50, 50, 50),
        where_mm=None,
        cost=5.0,
    )
    assert "find what shines from the left, at about the height of a head," in foreign_order(light)
    unsure = replace(light, sure=False)
    assert "shines on the sheet, perhaps from the left, at about" in foreign_order(unsure)
    assert foreign_words(unsure).startswith("light that is not in the plan comes perhaps from")
    assert exposure_order(-2.0, None) == "expose 2 stops (four times) more"


@dataclass(frozen=True)
class ByPlace:
    """Scores a rig by where its key stands: a hill, or a ledge with an edge behind it."""

    has_edge: bool

    def look_ahead(self, rigs, *cameras):
        list(rigs)

    def score(self, rig, camera):
        x = rig.lamps[0].placement.position_mm[0]
        if not self.has_edge:
            return 40.0 + 0.2 * (x - 300.0)
        return 0.0 if x > 330.0 else 80.0 if x > 315.0 else 40.0


@pytest.mark.parametrize("has_edge", [False, True])
def test_a_step_that_wins_only_where_everything_stands_just_so_is_no_sure_one(has_edge):
    state = State(RIG, (), (), CameraAsSet(clip_cd_m2=1000.0), None)
    worth = ByPlace(has_edge)
    rig = slipped(RIG, {("key", "x_mm"): 20.0})
    gain = worth.score(rig, state.camera) - worth.score(RIG, state.camera)
    step = FirstOption("move it", "key", "x_mm", 20.0, "mm", rig, state.camera, gain)
    assert gain > 0
    assert is_sure(step, state, worth) is not has_edge


def test_a_rig_that_is_made_of_one_as_it_stands_is_made_once():
    # light is kept by rig: one that was made anew was followed anew
    here = state(slip("key", "x_mm", 60.0))
    assert here.rig() is here.rig()
    assert here.rig(here.slips) is here.rig(here.slips) is not here.rig()
    assert here.stepped(("key", "y_mm"), 20.0) is here.stepped(("key", "y_mm"), 20.0)
    assert here.stepped(("key", "y_mm"), 0.0) is here.rig()


@dataclass
class Counted:
    """Worth more the farther to the right the key stands; it keeps the places it was asked for."""

    asked: list

    def look_ahead(self, rigs, *cameras):
        self.asked += [tuple(rig.lamps[0].placement.position_mm) for rig in rigs]

    def score(self, rig, camera):
        return 50.0 + 0.1 * rig.lamps[0].placement.position_mm[0]

    def measures(self, rig, camera):
        return Measures({})


def test_a_step_that_wins_is_not_tried_the_other_way_and_the_best_is_tried_longer():
    worth = Counted([])
    found = steps_of_state(state(), worth)
    x = RIG.lamps[0].placement.position_mm[0]
    ways = sorted(round(place[0] - x) for place in worth.asked if round(place[0] - x))
    assert ways == [10, 20, 40]
    assert (found[0].element, found[0].dimension, found[0].value) == ("key", "x_mm", 40.0)


def test_a_plan_that_promises_little_is_to_be_planned_anew():
    assert plan_is_poor(40.2) == (
        "the plan itself promises no more than about 40: plan this product anew"
    )
    assert plan_is_poor(75.0) == plan_is_poor(None) == ""


def test_a_sheet_is_pressed_flat_in_words_that_a_ruler_can_check():
    order = undo_words(RIG, slip("sheet", "bow_mm", 1.2))
    assert order.endswith("until a ruler lies on it without a gap")


@dataclass(frozen=True)
class ByExposure:
    """Scores 30 points more for a stop more, up to where it clips."""

    clips_at: float

    def look_ahead(self, rigs, *cameras):
        list(rigs)

    def score(self, rig, camera):
        return 50.0 + 30.0 * camera.stops if camera.stops < self.clips_at else 0.0

    def measures(self, rig, camera):
        return Measures({})


@pytest.mark.parametrize(("clips_at", "asked"), [(0.45, set()), (0.6, {1 / 3})])
def test_more_light_is_asked_for_with_room_below_the_clip(clips_at, asked):
    state = State(RIG, (), (), CameraAsSet(clip_cd_m2=1000.0), None)
    found = trims_of_state(state, ByExposure(clips_at))
    assert {o.value for o in found if o.element == "exposure" and o.gain > 0} == asked


def step(value, gain, element="key"):
    here = CameraAsSet(clip_cd_m2=100)
    return FirstOption(f"{element} {value:+g}", element, "turn_deg", value, "deg", RIG, here, gain)


@pytest.mark.parametrize(
    ("sure", "told"),
    [
        ({"key +6", "key +3"}, "key +6"),
        ({"key +3", "board +3"}, "key +3"),
        ({"key -3", "board +3"}, "board +3"),
        (set(), None),
    ],
)
def test_where_a_step_is_a_gamble_a_shorter_one_the_same_way_is_told(sure, told):
    steps = [step(6, 15), step(3, 14), step(-3, 2), step(3, 9, "board")]
    found = surest(steps, lambda one: one.text in sure)
    assert (found and found.text) == told


@pytest.mark.parametrize(("short", "leaves"), [(17.4, False), (1.0, True), (-4.0, True)])
def test_a_set_that_earns_much_less_than_planned_is_not_left_as_it_is(short, leaves):
    score = PhotoScore(file="a.jpg", path="a.jpg", score=82.0, verdict="adjust")
    told = sentence_of(score, (), (), None, promised=99.0, short=short)
    assert ("leave it" in told) is leaves
    assert ("17 points less than planned" in told) is not leaves


@pytest.mark.parametrize(
    ("gain", "off_mm", "told"),
    [(5, 0, "exposure"), (80, 0, "key"), (7, 800, "key"), (5, 800, "exposure")],
)
def test_a_clipped_photograph_is_exposed_less_before_what_wins_less(
    monkeypatch, gain, off_mm, told
):
    # a plan with its key 800 mm off promises 10, no more than 6 beyond what the photograph earns
    monkeypatch.setattr(move_told, "_helping", lambda *_: step(3, gain))
    clipped = Gate("clipped foil", "foil_clipped_share", False, 0.1, "foil is clipped")
    score = PhotoScore(
        file="a.jpg",
        path="a.jpg",
        score=4.0,
        gates=(clipped,),
        measures={"foil_clipped_share": (0.03, 0.001)},
    )
    poor = slipped(RIG, {("key", "x_mm"): off_mm})
    plan = Before(Memory(), poor, CameraAsSet(clip_cd_m2=100))
    assert choose(score, [], state(), OnPaper(), plan).element == told
