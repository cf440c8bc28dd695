"""Whatever is done to a rig, and wherever that is broken off, a kept engine says what a fresh one
says."""

import dataclasses
import functools
import math
import pickle

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lightplan.light import Detail, Engine
from lightplan.light.standing import Standing
from lightplan.progress import Stop, Stopped
from lightplan.scene import (
    Camera,
    Card,
    Film,
    Flatness,
    Foil,
    Grating,
    Lamp,
    Output,
    Paper,
    Placement,
    Probe,
    Prop,
    Relief,
    Rig,
    Room,
    Sheet,
    Shell,
    Side,
    Waviness,
)
from lightplan.scene.lamps import AngularProfile

SMALL = dataclasses.replace(
    Detail.quick(camera_rows=12, camera_cols=16), cells=3, texels=8, sheet_long_side=17,
    direct_long_side=7, bounce_long_side=5, lamp_spots=13, cell_lamp_spots=5, penumbra_spots=34,
    sky_rays=13, cell_sky_rays=8, foil_rays=1500, foil_spots=9, hidden_spots=34, mirror_spots=3,
)  # fmt: skip
SPOT = AngularProfile(
    vertical_rad=np.array([0.0, 0.5, 1.2, math.pi]),
    horizontal_rad=np.array([0.0]),
    candela=np.array([[900.0, 400.0, 100.0, 20.0]]),
)
SKY = Probe(pixels=np.add.outer(np.linspace(9, 1, 8), np.zeros((16, 3))), scale=2.0)


def lamp(name, at, **more):
    more = {"output": Output(value=1500, unit="cd/m2"), **more}
    return Lamp(name=name, placement=Placement(at), width_mm=400, height_mm=300, **more)


def card(name, at, **more):
    return Card(name=name, placement=Placement(at), **{"width_mm": 300, "height_mm": 250} | more)


START = Rig(
    title="a bookplate", sheet=Sheet(width_mm=148, height_mm=105),
    camera=Camera(placement=Placement((0, -500, 600))),
    lamps=(lamp("key", (-500, 500, 700)),
           lamp("bulb", (500, 100, 500), shape="bulb", profile=SPOT)),
    cards=(card("white", (0, 450, 300)), card("board", (420, 0, 126)),
           card("roof", (0, 0, 400))),  # sees what foil throws up, and is seen in it
    room=Room(ambient_cd_m2=(4.0, 5.0, 6.0)),
)  # fmt: skip
MORE = {
    "lamps": (lamp("kicker", (100, 600, 300)),
              lamp("torch", (-200, 500, 300), shape="disk", profile=SPOT)),
    "cards": (card("silver", (-400, 50, 220), front=Side(finish="silver")),
              card("screen", (300, 350, 400), transmittance=(0.4, 0.4, 0.4),
                   front=Side(reflectance=(0.4, 0.4, 0.4)),
                   back=Side(reflectance=(0.4, 0.4, 0.4)))),
    "props": (Prop(name="stand", position_mm=(-200, 150, 0), height_mm=300),
              Prop(name="wedge", shape="mesh", position_mm=(170, 120, 0), reflectance=(0.5,) * 3,
                   vertices=np.array([[0, 0, 0], [60, 0, 0], [0, 60, 0], [0, 0, 60.0]]),
                   faces=np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))),
    "shells": (Shell(name="tent", shape="tent", foot_width_mm=700, foot_depth_mm=700,
                     height_mm=500),),
}  # fmt: skip


def change(thing, **fields):
    return dataclasses.replace(thing, **fields)


def with_one(rig, kind, index, edit):
    things = list(getattr(rig, kind))
    if things:
        things[index % len(things)] = edit(things[index % len(things)])
    return change(rig, **{kind: tuple(things)})


def with_place(thing, **fields):
    return change(thing, placement=change(thing.placement, **fields))


def moved(thing, by):
    x, y, z = thing.placement.position_mm
    return with_place(thing, position_mm=(x + by, y - by / 2, z + abs(by) / 3))


def toggled(rig, kind, index):
    """Without one of the things that come and go, or with it, at the front or the end."""
    extra = MORE[kind][index % len(MORE[kind])]
    rest = tuple(t for t in getattr(rig, kind) if t.name != extra.name)
    if len(rest) < len(getattr(rig, kind)):
        return change(rig, **{kind: rest})
    return change(rig, **{kind: (extra, *rest) if index % 2 else (*rest, extra)})


def resized(thing, by):
    return change(thing, width_mm=thing.width_mm * (1 + abs(by) / 50))


def repainted(thing, by):
    grey = 0.2 + abs(by) / 100
    return change(thing, front=change(thing.front, reflectance=(grey, grey, 0.2)))


def sheet(rig, **fields):
    return change(rig, sheet=change(rig.sheet, **fields))


def foil(rig, **fields):
    return sheet(rig, foil=change(rig.sheet.foil, **fields))


def camera(rig, **fields):
    return change(rig, camera=change(rig.camera, **fields))


EDITS = {
    "move a lamp": lambda r, i, v: with_one(r, "lamps", i, lambda t: moved(t, v)),
    "move a card": lambda r, i, v: with_one(r, "cards", i, lambda t: moved(t, v)),
    "turn a lamp": lambda r, i, v: with_one(
        r, "lamps", i, lambda t: with_place(t, aim_mm=(v, v, 0.0))
    ),
    "turn a card": lambda r, i, v: with_one(
        r, "cards", i, lambda t: with_place(t, aim_mm=(0.0, v, abs(v)))
    ),
    "power": lambda r, i, v: with_one(r, "lamps", i, lambda t: change(t, trim_stops=v / 20)),
    "switch": lambda r, i, v: with_one(r, "lamps", i, lambda t: change(t, on=not t.on)),
    "colour": lambda r, i, v: with_one(r, "lamps", i, lambda t: change(t, colour_k=5000 + 20 * v)),
    "resize a lamp": lambda r, i, v: with_one(r, "lamps", i, lambda t: resized(t, v)),
    "resize a card": lambda r, i, v: with_one(r, "cards", i, lambda t: resized(t, v)),
    "repaint a card": lambda r, i, v: with_one(r, "cards", i, lambda t: repainted(t, v)),
    "blacken a card": lambda r, i, v: with_one(
        r, "cards", i, lambda t: change(t, front=Side(finish="black", reflectance=(0, 0, 0)))
    ),
    "move the camera": lambda r, i, v: change(r, camera=moved(r.camera, v)),
    "turn the camera": lambda r, i, v: change(
        r, camera=with_place(r.camera, aim_mm=(v / 4, 0.0, 0.0))
    ),
    "zoom": lambda r, i, v: camera(r, focal_length_mm=50 + abs(v)),
    "polariser": lambda r, i, v: camera(
        r, polariser_rad=None if r.camera.polariser_rad is not None else v / 30
    ),
    "bow": lambda r, i, v: sheet(r, flatness=Flatness(bow_mm=v / 20)),
    "sheet's size": lambda r, i, v: sheet(r, width_mm=148.0 + v),
    "roughness": lambda r, i, v: foil(r, roughness=(0.05 + abs(v) / 200,) * 2),
    "brush": lambda r, i, v: foil(r, roughness=(0.05, 0.2), brush_rad=v / 20),
    "foil's kind": lambda r, i, v: foil(r, kind=("gold foil", "silver foil")[i % 2]),
    "grating": lambda r, i, v: foil(
        r, grating=None if r.sheet.foil.grating is not None else Grating()
    ),
    "coat": lambda r, i, v: sheet(
        r, paper=Paper(coat_index=1.5 if r.sheet.paper.coat_index is None else None)
    ),
    "uneven stock": lambda r, i, v: sheet(
        r, paper=change(r.sheet.paper, waviness=Waviness(slope_rad=0.01 + abs(v) / 1000))
    ),
    "stamped": lambda r, i, v: foil(r, relief=Relief(depth_mm=0.1)),
    "film": lambda r, i, v: sheet(r, paper=Paper(film=Film(under=(0.4, 0.5, 0.6)))),
    "paper": lambda r, i, v: sheet(r, paper=change(r.sheet.paper, reflectance=(0.5, 0.6, 0.7))),
    "room": lambda r, i, v: change(r, room=change(r.room, ambient_cd_m2=(abs(v), 1.0, 2.0))),
    "sky": lambda r, i, v: change(
        r, room=change(r.room, probe=None if r.room.probe is not None else SKY)
    ),
    "table": lambda r, i, v: change(
        r, room=change(r.room, table=change(r.room.table, width_mm=1200.0 + v))
    ),
    "lamp comes or goes": lambda r, i, v: toggled(r, "lamps", i),
    "card comes or goes": lambda r, i, v: toggled(r, "cards", i),
    "prop comes or goes": lambda r, i, v: toggled(r, "props", i),
    "tent comes or goes": lambda r, i, v: toggled(r, "shells", i),
    "all cards go": lambda r, i, v: change(r, cards=()),
    "all lamps go": lambda r, i, v: change(r, lamps=()),
    "read again": lambda r, i, v: pickle.loads(pickle.dumps(r)),
}
STEPS = st.tuples(st.sampled_from(sorted(EDITS)), st.integers(0, 3), st.integers(-28, 28))


def assert_same(one, other, within):
    for item in dataclasses.fields(one):
        a, b = getattr(one, item.name), getattr(other, item.name)
        if not isinstance(a, np.ndarray) or item.name == "sees":
            continue
        assert a.shape == b.shape, item.name
        np.testing.assert_array_equal(np.isnan(a), np.isnan(b), err_msg=item.name)
        size = max(float(np.nanmax(np.abs(b))), 1.0) if np.isfinite(b).any() else 1.0
        off = np.nan_to_num(a - b)
        assert math.sqrt(float(np.mean(off**2))) <= within * size, item.name


@settings(
    max_examples=12, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow]
)
@given(st.lists(STEPS, min_size=1, max_size=6))
def test_any_chain_of_edits_ends_where_a_fresh_engine_begins(steps):
    rig = START
    engine = Engine(rig, SMALL)
    for name, index, value in steps:
        rig = EDITS[name](rig, index, value)
        kept = engine.layers(rig)
    assert_same(kept, Engine(rig, SMALL).layers(rig), 1e-6)


@pytest.mark.parametrize("name", sorted(EDITS))
def test_every_edit_alone_and_back(name):
    """Beside the chains, so that none is left out, the way back included."""
    engine = Engine(START, SMALL)
    before = engine.layers(START)
    rig = EDITS[name](START, 1, 17)
    kept = engine.layers(rig)
    assert_same(kept, Engine(rig, SMALL).layers(rig), 1e-6)
    assert_same(engine.layers(START), before, 1e-6)


def full_house():
    """A rig with everything that can be followed."""
    rig = START
    for kind in ("lamps", "cards", "props"):
        rig = toggled(toggled(rig, kind, 0), kind, 1)
    return sheet(rig, paper=Paper(coat_index=1.5), foil=Foil(grating=Grating()))


@functools.cache
def after(name):
    """What a fresh engine says of that rig after an edit, which no test may change."""
    rig = EDITS[name](full_house(), 0, 21)
    return rig, Engine(rig, SMALL).layers(rig)


def broken_off_at(engine, rig, step):
    """Ask for a rig and stop at a step; whether it came that far."""
    stop, left = Stop(), [step]

    def check():
        left[0] -= 1
        if left[0] < 0:
            stop.ask()
        stop.check()

    try:
        engine.layers(rig, check=check)
    except Stopped:
        return True
    return False


@pytest.mark.parametrize("name", ["move a card", "move the camera", "card comes or goes", "bow"])
def test_broken_off_at_any_step_it_is_where_it_was(name):
    rig = full_house()
    other, there = after(name)
    engine = Engine(rig, SMALL)
    here = engine.layers(rig)
    step = 0
    while broken_off_at(engine, other, step):
        if step % 2:  # sometimes back, sometimes straight on
            assert_same(engine.layers(rig), here, 1e-6)
        step += 1
    assert step > 5
    assert_same(engine.layers(other), there, 1e-6)


@pytest.mark.parametrize("part", ["_follow_cells", "_follow_paper", "_follow_mirrors"])
def test_a_fault_inside_a_step_leaves_the_engine_whole(part, monkeypatch):
    rig = full_house()
    other, there = after("move a card")
    engine = Engine(rig, SMALL)
    here = engine.layers(rig)

    def fails(self):
        list(getattr(Standing, f"whole{part}")(self))
        raise KeyboardInterrupt

    monkeypatch.setattr(Standing, f"whole{part}", getattr(Standing, part), raising=False)
    with monkeypatch.context() as broken:
        broken.setattr(Standing, part, fails)
        with pytest.raises(KeyboardInterrupt):
            engine.layers(other)
    assert_same(engine.layers(rig), here, 0.0)
    assert_same(engine.layers(other), there, 1e-6)


def test_a_set_that_was_dark_between_is_lit_as_a_fresh_one():
    """Where nothing bright is there lines of sight have no ends: what was known of them is old."""
    one = change(START, lamps=START.lamps[:1], cards=())
    engine = Engine(one, SMALL)
    before = engine.layers(one)
    engine.layers(change(one, lamps=()))
    assert_same(engine.layers(one), before, 1e-6)


def test_arrangements_one_after_the_other_are_lit_as_fresh_ones():
    """As a planner looks at them: other things, another camera, the same room and sheet."""
    engine, house = Engine(START, SMALL), full_house()
    for number in range(6):
        rig = change(
            house,
            lamps=house.lamps[number % 3 :][:2],
            cards=tuple(moved(one, 20.0 * number) for one in house.cards[number % 4 :][:1]),
            props=(),
            camera=house.camera if number < 3 else START.camera,
            sheet=START.sheet,
        )
        kept = engine.layers(rig)
        assert_same(kept, Engine(rig, SMALL).layers(rig), 1e-6)
