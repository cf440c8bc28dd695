"""What a plan says of lamps of which only the watts are known."""

from dataclasses import replace
from types import SimpleNamespace

from lightplan.planning.result import Tolerance
from lightplan.rigfiles import load_rig
from lightplan.scene import Output
from lightplan.tasks.plan import unknown_powers


def told(reach):
    """Words for a lamp of 60 W, 50 to 200 lm each: one stop either way of their middle."""
    rig = load_rig("silver-bookplate-bright").rig
    watts = Output(value=60, unit="W", lumens_per_watt=(50, 200))
    lamp = replace(rig.lamps[0], name="LED", output=watts)
    tolerance = Tolerance(element="LED", dimension="power_stops", minus=reach, plus=reach)
    plan = SimpleNamespace(rig=replace(rig, lamps=(lamp,), freedoms=()), tolerances=(tolerance,))
    return unknown_powers(plan)


def test_an_unknown_power_that_the_plan_outlives_matters_little():
    (words,) = told(1.2)
    assert "open by 1.0 stops either way, which matters little" in words


def test_one_photograph_settles_a_power_that_matters():
    (words,) = told(0.3)
    assert "One photograph settles it: white copy paper 1 m in front" in words
