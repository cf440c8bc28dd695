"""What a shoot asked for is its plan by now; pure bookkeeping, worked out on paper."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lightplan.advice.first_things import FirstMove, FirstOption, State
from lightplan.advice.memory import (
    AskedMoves,
    Memory,
    RememberedMoves,
    minded,
    remembered_move,
    taken_back,
)
from lightplan.advice.worth import CameraAsSet
from lightplan.errors import BadInput
from lightplan.scene import Camera as Lens
from lightplan.scene import Lamp, Placement, Rig, Sheet
from lightplan.scene.slips import Slip
from lightplan.tasks.remembering import memory_of, memory_path, read_memory, write_memory

RIG = Rig(
    title="paper",
    sheet=Sheet(width_mm=90, height_mm=60),
    lamps=(Lamp(name="key", placement=Placement((300, 0, 500))),),
    cards=(),
    camera=Lens(placement=Placement((0, -300, 600))),
)
STATE = State(planned=RIG, slips=(), foreign=(), camera=CameraAsSet(clip_cd_m2=100), time_s=1 / 20)


def asked(element, dimension, value, *, undoes=False, takes_back=False):
    return AskedMoves(
        text=f"move {element}",
        element=element,
        parts=((dimension, value),),
        undoes=undoes,
        takes_back=takes_back,
    )


def frame(move, *, file="a.jpg", score=60.0, stops=0.0, balance=0.0):
    return RememberedMoves(file=file, score=score, stops=stops, balance=balance, asked=move)


def option(element, dimension, value, gain):
    return FirstOption(
        "do it",
        element,
        dimension,
        value,
        "mm",
        RIG,
        CameraAsSet(clip_cd_m2=1.0),
        gain,
        undoes=True,
    )


def test_without_frames_all_is_as_first_planned():
    memory = Memory()
    assert memory.plan(RIG) == RIG
    assert memory.exposure(1.4) == 0.0
    assert memory.balance(0.2) == 0.0


def test_an_exposure_that_was_asked_for_and_set_is_the_plan():
    memory = Memory((frame(asked("exposure", "stops", -1.33), stops=0.1),))
    assert memory.exposure() == pytest.approx(-1.23)
    assert memory.exposure(-1.4) == -1.4  # set, to the camera's next third
    assert memory.exposure(0.1) == 0.0  # not set: it will be told again


def test_an_exposure_that_was_put_back_leaves_the_plan():
    memory = Memory((frame(asked("exposure", "stops", -1.2, undoes=True), stops=1.2),))
    assert memory.exposure(0.1) == 0.1
    assert memory.exposure(1.2) == 0.0


def test_a_white_balance_that_was_set_anew_is_right_as_it_came_out():
    memory = Memory((frame(asked("white balance", "stops", 0.2, undoes=True), balance=-0.2),))
    assert memory.balance(0.12) == 0.12
    assert memory.balance(-0.19) == -0.19  # the room has that colour


def test_what_has_won_nothing_is_not_asked_again():
    moved = frame(asked("key", "x_mm", 40.0, undoes=True), score=60.0)
    memory = Memory((moved,))
    again = option("key", "x_mm", 35.0, gain=9.0)
    assert minded([again], memory, 60.4) == []
    assert minded([again], memory, 66.0) == [again]
    other = option("key", "turn_deg", 4.0, gain=9.0)
    assert minded([other], memory, 60.4) == [other]


def test_a_step_off_the_plan_is_planned_from_then_on_and_one_back_to_it_is_not():
    moved = Memory((frame(asked("key", "x_mm", 40.0)), frame(asked("key", "x_mm", -15.0))))
    assert moved.plan(RIG).lamps[0].placement.position_mm[0] == 325
    assert Memory((frame(asked("key", "x_mm", 40.0, undoes=True)),)).plan(RIG) == RIG


def test_a_step_of_a_thing_that_was_off_starts_from_where_it_stands():
    slip = Slip(
        element="key", dimension="x_mm", value=25.0, unit="mm", uncertainty=3.0, confidence=0.9
    )
    move = FirstMove(
        text="move it",
        element="key",
        dimension="x_mm",
        value=-20.0,
        unit="mm",
        score_after=None,
        uncertainty=None,
        gain=1.0,
        parts=(("x_mm", -20.0),),
    )
    moved = frame(remembered_move(move, [slip]))
    assert Memory((moved,)).plan(RIG).lamps[0].placement.position_mm[0] == 305
    back = replace(move, value=20.0, parts=(("x_mm", 20.0),), takes_back=True)
    taken = frame(remembered_move(back, [], moved))
    assert Memory((moved, taken)).plan(RIG) == RIG


def test_a_frame_that_is_looked_at_again_forgets_itself_and_what_came_later():
    frames = tuple(frame(None, file=f"{name}.jpg") for name in "abc")
    assert Memory(frames).before("b.jpg").frames == frames[:1]
    assert Memory(frames).before("new.jpg").frames == frames


def test_the_opposite_of_an_earlier_move_must_win_more_and_says_why():
    memory = Memory((frame(asked("key", "x_mm", 40.0), file="one.jpg"),))
    assert minded([option("key", "x_mm", -30.0, gain=2.0)], memory) == []
    (told,) = minded([option("key", "x_mm", -30.0, gain=9.0)], memory)
    assert "after one.jpg the opposite was asked" in told.why
    (same,) = minded([option("key", "x_mm", 30.0, gain=2.0)], memory)
    assert same.why == ""


def test_a_step_that_lost_points_is_taken_back_and_not_asked_again():
    memory = Memory((frame(asked("key", "x_mm", 40.0), score=70.0),))
    back = taken_back(memory, STATE, 62.0)
    assert back.gain == 8.0
    assert back.rig.lamps[0].placement.position_mm[0] == 260
    assert "take the last move back" in back.text
    later = Memory(
        (*memory.frames, frame(asked("key", "x_mm", -40.0, takes_back=True), score=62.0))
    )
    assert later.plan(RIG) == RIG
    assert minded([option("key", "x_mm", 20.0, gain=9.0)], later) == []
    assert len(minded([option("key", "x_mm", -20.0, gain=9.0)], later)) == 1


def test_what_led_back_to_the_plan_or_lost_nothing_is_not_taken_back():
    undone = Memory((frame(asked("key", "x_mm", 40.0, undoes=True), score=70.0),))
    assert taken_back(undone, STATE, 62.0) is None
    fine = Memory((frame(asked("key", "x_mm", 40.0), score=70.0),))
    assert taken_back(fine, STATE, 69.0) is None


def test_an_exposure_that_lost_points_is_taken_back_by_the_camera():
    memory = Memory((frame(asked("exposure", "stops", -1.0), score=70.0),))
    back = taken_back(memory, STATE, 60.0)
    assert back.camera.stops == 1.0
    assert back.changes == (("stops", 1.0),)


def test_memory_comes_back_from_its_file(tmp_path):
    memory = Memory(
        (frame(asked("key", "x_mm", 40.0)), frame(None, file="b.jpg", score=None, stops=None))
    )
    write_memory(memory_path(tmp_path), memory)
    assert memory_of(tmp_path) == memory


def test_a_damaged_memory_is_refused_with_its_cure(tmp_path):
    path = tmp_path / "memory.json"
    assert read_memory(path) == Memory()
    path.write_text('{"format": 1, "frames": [{}]}', "utf-8")
    with pytest.raises(BadInput, match="lightplan shoot' writes it anew"):
        read_memory(path)
    with pytest.raises(BadInput, match="one of --shoot and --since"):
        memory_of(tmp_path, since="x.jpg")
    with pytest.raises(BadInput, match="the folder of the shoot"):
        memory_of(tmp_path / "none")
