"""Rounded rigs: every figure that a rig file holds of them can be set with a tape measure."""

import re
from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.rigfiles.write import rig_to_toml
from lightplan.scene import Camera, Card, Hole, Lamp, Placement, Rig, Sheet, Shell
from lightplan.scene.dimensions import value_of
from lightplan.scene.edits import Exchange, Set, dimensions_of, edited
from lightplan.scene.rounding import rounded

THINGS = ("lamps", "cards", "shells", "camera")


def full_rig():
    """One of each, all turned, the card with a hole."""
    return Rig(
        title="rounding",
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -500, 500), roll_rad=0.0123456)),
        lamps=(Lamp(name="key", placement=Placement((0, 0, 800), (1, 2, 3), 0.1234567)),),
        cards=(
            Card(
                name="board",
                placement=Placement((0, 300, 200), (0, 0, 100), 0.7654321),
                width_mm=420,
                height_mm=297,
                hole=Hole(diameter_mm=30, offset_mm=(5, 5)),
            ),
        ),
        shells=(Shell(name="cone"),),
    )


def long_figures(rig):
    """The figures of lamps, cards, shells and camera in the rig's file that no tape can set."""
    found = []
    part = ""
    for line in rig_to_toml(rig).splitlines():
        part = line.strip("[]") if line.startswith("[") else part
        if part.split(".")[0] not in THINGS or "=" not in line:
            continue
        name = line.partition("=")[0].strip()
        digits = 2 if name == "trim_stops" else 1
        if name.endswith(("_mm", "_deg", "_stops")):
            found += re.findall(rf"{name} = .*\.\d{{{digits + 1},}}.*", line)
    return found


@settings(max_examples=15)
@given(st.integers(0, 2**32))
def test_every_dimension_of_every_kind_of_thing(seed):
    rng = np.random.default_rng(seed)
    rig = full_rig()
    moved = rig
    things = (*rig.lamps, *rig.cards, *rig.shells)
    for name, thing in [*((t.name, t) for t in things), ("camera", rig.camera)]:
        for dimension in dimensions_of(thing):
            value = value_of(rig, name, dimension) + rng.uniform(0, 9)
            moved = edited(moved, Set(name, dimension, value))
    assert long_figures(moved)
    found = rounded(moved)
    assert long_figures(found) == []
    for name, thing in [*((t.name, t) for t in things), ("camera", rig.camera)]:
        for dimension in dimensions_of(thing):
            off = abs(value_of(found, name, dimension) - value_of(moved, name, dimension))
            assert off <= (0.005 if dimension == "trim_stops" else 0.05) + 1e-9
    assert rig_to_toml(rounded(found)) == rig_to_toml(found)


def test_what_did_not_change_keeps_the_figures_that_the_maker_gave():
    given_rig = edited(full_rig(), Set("key", "x_mm", 12.345), Set("board", "x_mm", 0.111))
    planned = edited(given_rig, Set("board", "y_mm", 301.23456))
    found = rounded(planned, given_rig)
    assert found.lamps == given_rig.lamps
    assert found.cards[0].placement.position_mm == (0.1, 301.2, 200.0)
    locked = edited(planned, Exchange(replace(planned.cards[0], locked=True)))
    assert rounded(locked).cards == locked.cards
