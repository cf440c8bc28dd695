"""The light's loops are compiled before several processes would each do it, and it is said."""

import pytest

from lightplan.rigfiles import load_rig
from lightplan.tasks import first_light
from lightplan.tasks.kit import kit
from lightplan.tasks.looks import looks
from lightplan.tasks.plan import plan

WORDS = "compiling the light's loops for this computer (once; about 15 s)"


class Done(Exception):
    """The loops are compiled: nothing after it is of interest here."""


@pytest.fixture
def computer(monkeypatch):
    """Return what was done on a computer where nothing is compiled yet."""
    done = []

    def compiled():
        done.append("noted")
        raise Done

    monkeypatch.setattr(first_light, "first_use_words", lambda: WORDS)
    monkeypatch.setattr(first_light, "warm_beside", lambda: done.append("beside"))
    monkeypatch.setattr(first_light, "layers_of", lambda *_: done.append("light"))
    monkeypatch.setattr(first_light, "remember_use", compiled)
    return done


@pytest.mark.parametrize("work", [looks, kit], ids=["looks", "kit"])
def test_work_of_several_processes_says_it_first(computer, work):
    told = []
    with pytest.raises(Done):
        work(load_rig("scattered-seeds-run"), watch=told.append)
    assert [one.stage for one in told] == [WORDS]
    assert computer == ["beside", "light", "noted"]


def test_a_plan_compiles_before_it_searches(computer):
    with pytest.raises(Done):
        plan("scattered-seeds-run")
    assert computer == ["beside", "light", "noted"]


def test_where_all_is_compiled_nothing_is_said_or_done(computer, monkeypatch):
    monkeypatch.setattr(first_light, "first_use_words", lambda: None)
    first_light.first_light(load_rig("scattered-seeds-run").rig, computer.append)
    assert computer == []
