"""Several photographs fitted as one, what they cannot tell, and a pin's shadow.

Levels are the light engine's own with noise: what is tried is the fit, not the engine. The pin is
in a picture of the path tracer, `../advice/pins.py`.
"""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from made_cells import cells_over

from lightplan.errors import BadInput
from lightplan.estimate import Photographed, Pin, estimate_together
from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.estimate.pin import shade
from lightplan.estimate.solving import FitSystem, joined
from lightplan.estimate.together import lens_of, stood_still
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import slipped
from lightplan.shots.pipeline import look_at
from lightplan.tasks.photographed import context_of
from lightplan.tasks.pinned import pin_in, pin_of

REFERENCE = Path(__file__).parents[1] / "reference"
sys.path.insert(0, str(REFERENCE / "slipped"))
PLAN = load_rig(REFERENCE / "planned" / "gold_hole_bright.toml").rig
CLIP = 400.0
LAMP = "right panel"
SHAPE = PLAN.camera.pixels[1], PLAN.camera.pixels[0]


def photograph(rig, seed, turned=None):
    """Return what a photograph of a rig tells, lamps turned by stops."""
    seen = cells_over(rig, [(True, 1.0), (False, 1.0)])
    levels = CellLevels(rig, seen)
    light = levels.light(rig).mixed(turned or {}, levels.room)
    noise = np.random.default_rng(seed).normal(0, 0.01, light.shape)
    corners = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) / 2
    corners = corners * [rig.sheet.width_mm, rig.sheet.height_mm]
    places = rig.camera.project(np.column_stack([corners, np.zeros(4)]), *SHAPE)
    stops = to_stops(light, CLIP) + noise
    return Photographed(replace(seen, stops=stops), places, SHAPE, None, CLIP)


@lru_cache(maxsize=1)
def pair():
    """Return estimates of one set from one photograph, and from two, the second with a lamp off."""
    built = slipped(PLAN, {(LAMP, "power_stops"): 0.8})
    photos = photograph(built, 1), photograph(built, 2, {"left panel": -14.0})
    return (
        estimate_together(PLAN, photos[:1], clip_cd_m2=CLIP),
        estimate_together(PLAN, photos, clip_cd_m2=CLIP),
    )


def test_what_a_second_photograph_is_for_is_read_from_it():
    (other,) = pair()[1].others
    assert other.moved_mm is None
    assert [name for name, _ in other.turned] == ["left panel"]


def test_two_photographs_name_the_slip_and_leave_less_uncertain():
    one, two = pair()
    assert two.slips[0].element == LAMP
    assert two.slips[0].dimension == "power_stops"
    assert two.slips[0].value == pytest.approx(0.8, abs=0.25)
    for what in ("distance_mm", "power_stops"):
        assert two.left[LAMP][what] < 0.9 * one.left[LAMP][what]


def test_a_lamp_farther_and_brighter_cannot_be_told_from_one_photograph():
    doubt = next(d for d in pair()[0].doubts if d.element == LAMP)
    assert doubt.kind == "distance and power"
    # the law of distance: at 394 mm, so much farther takes about so many stops
    wanted = 2 * math.log2(1 + doubt.sigma / 394)
    assert 0.3 * wanted < doubt.with_stops < 1.5 * wanted


def test_from_another_place_the_light_tells_where_the_lens_stood():
    plan = load_rig(REFERENCE / "planned" / "silver_bright.toml").rig
    aside = slipped(plan, {("camera", "x_mm"): 60.0})
    found = estimate_together(plan, (photograph(plan, 3), photograph(aside, 4)), clip_cd_m2=CLIP)
    fitted = found.best.fitted
    at = fitted.names.index((lens_of(1), "x_mm"))
    sigma = math.sqrt(fitted.covariance[at, at])
    # the corners alone said 93 mm
    told = found.others[0].moved_mm[0] + fitted.values[fitted.names[at]]
    assert told == pytest.approx(60.0, abs=3 * sigma)
    assert sigma < 20.0


def test_one_set_of_unknowns_is_solved_from_two_systems_as_by_all_data_at_once():
    draw = np.random.default_rng(3)
    rows, aim = draw.normal(size=(40, 3)), draw.normal(size=40)

    def system(part, names):
        count = part.stop - part.start
        return FitSystem(
            names,
            rows[part],
            aim[part],
            np.ones(count),
            np.full(count, 1e3),  # so wide that nothing is an outlier
            np.zeros(count, bool),
            np.zeros(3),
            np.eye(3) * 1e-9,
            np.zeros(3),
            0.0,
        )

    names = (("a", "x_mm"), ("b", "x_mm"), ("c", "x_mm"))
    both = joined([system(slice(0, 18), names), system(slice(18, 40), names)]).solved()
    assert both.values == pytest.approx(np.linalg.lstsq(rows, aim, rcond=None)[0], abs=1e-3)
    own = joined([system(slice(0, 18), names), system(slice(18, 40), (*names[:2], ("d", "x_mm")))])
    assert own.names == (*names, ("d", "x_mm"))


def test_a_camera_that_stood_still_is_known_by_the_corners():
    corners = np.array([[10.0, 10.0], [10.0, 500.0], [400.0, 500.0], [400.0, 10.0]])
    assert stood_still(corners, corners + 0.8, (600, 900))
    assert not stood_still(corners, corners + [[3.0, 0.0]] * 4, (600, 900))


def test_a_small_lamps_shadow_ends_where_its_height_says():
    # like triangles: 40 mm of pin, a lamp 400 mm up and 300 mm aside of the foot
    pin = Pin(height_mm=40.0, thick_mm=6.0, foot_mm=(0.0, 0.0))
    spots = np.array([[-300.0, 0.0, 400.0]])
    end = 40 * 300 / (400 - 40)
    x = np.array([0.5 * end, end - 3.0, end + 5.0, -10.0])
    points = np.stack([x, np.zeros(4)], axis=1)
    hidden = shade(points, np.zeros(2), pin, spots, None, 0.2)
    assert hidden == pytest.approx([1, 1, 0, 0], abs=0.01)
    aside = shade(np.array([[20.0, 8.0]]), np.zeros(2), pin, spots, None, 0.2)
    assert aside == pytest.approx([0], abs=0.01)


def test_a_pins_shadows_in_a_traced_picture_tell_which_way_the_lamps_stand():
    from bases import base_rig

    plan = base_rig("rose_gold_dark")
    photo = REFERENCE / "slipped" / "photographs" / "rose_gold_dark_pin0.jpg"
    pin = Pin(height_mm=40.0, thick_mm=6.0, foot_mm=(-30.0, 0.0))
    found = pin_in(look_at(photo, context_of(plan)), plan, pin)
    told = dict(zip([n for n, _ in found.known.names[::3]], found.known.measured, strict=True))
    # across the line of sight: the left softbox was moved by 57 mm, the right one by a hand's 5
    for lamp, true in (("left softbox", -57.0), ("right softbox", -5.0)):
        assert abs(told[lamp] - true) < 3 * found.sigmas_mm[lamp]
    assert found.sigmas_mm["left softbox"] < 15


def test_a_pin_that_is_none_is_refused_in_words():
    with pytest.raises(BadInput, match="as 40x6@-30,25"):
        pin_of("40")
    with pytest.raises(BadInput, match="with a ruler"):
        pin_of("2x40@0,0")
