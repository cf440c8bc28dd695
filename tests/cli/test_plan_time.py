"""The time that is told before and during a plan."""

from dataclasses import replace

import pytest

from lightplan.planning.effort import Effort
from lightplan.rigfiles import load_rig
from lightplan.tasks import plan_time
from lightplan.tasks.plan_time import TimeLeft, expected


@pytest.mark.parametrize(
    ("used_s", "clock_s", "says"),
    [
        (0.1, 0.1, "about 60 seconds as fast as the first pictures came"),
        (0.1, 0.3, "about 3 minutes as fast as the first pictures came (the computer is busy"),
        (1.0, 1.0, "about 6 minutes"),
    ],
)
def test_it_follows_from_the_first_pictures(monkeypatch, used_s, clock_s, says):
    monkeypatch.setattr(plan_time, "light_time_s", lambda rig: (used_s, clock_s))
    monkeypatch.setattr(plan_time, "usable_cores", lambda: 2)
    monkeypatch.setattr(plan_time, "JUDGING_S", 0.1)
    # more than as many evaluations again go into the arrangements that are not taken in the end
    rig = load_rig("silver-bookplate-bright").rig
    assert says in expected(rig, Effort(evaluations=240, helpers=1))


def test_a_light_is_really_timed():
    rig = load_rig("silver-bookplate-bright").rig
    used, clock = plan_time.light_time_s(rig)
    assert used > 0
    assert 0 < clock < 60
    assert plan_time.light_time_s(replace(rig, lamps=(), freedoms=()))[0] >= 0  # a bare rig too


def test_what_is_left_follows_from_what_was_done():
    left = TimeLeft()
    assert left.words(0, 240, now=100.0) == ""
    assert left.words(60, 240, now=110.0) == ", about 30 seconds left"
    assert left.words(239, 240, now=140.0) == ", about 5 seconds left"
    assert left.words(240, 240, now=141.0) == ""
    assert left.words(0, 20, now=142.0) == ""  # the next stage begins anew
    assert left.words(10, 20, now=152.0) == ", about 10 seconds left"


def test_the_first_steps_of_a_stage_are_not_taken_for_all_of_it():
    left = TimeLeft()
    assert left.words(0, 240, now=100.0) == ""
    assert left.words(1, 576, now=103.5) == ""  # it told of 34 minutes
    assert left.words(20, 576, now=106.0) == ""
    assert left.words(111, 576, now=107.0) == ", about 15 seconds left"
