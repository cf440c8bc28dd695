"""Light of rigs that are a little off their plan, and how surely a photograph tells it."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))

from bases import base_rig

from lightplan.estimate.cell_levels import CellLevels
from lightplan.estimate.fit import Columns, Fitter
from lightplan.estimate.light_store import LightStore, detail_for
from lightplan.estimate.seen import SeenSheet
from lightplan.light import Engine
from lightplan.scene.slips import slipped

RIG = base_rig("silver_bright")
MOVED = [
    {("side softbox", "x_mm"): 20.0},
    {("camera", "z_mm"): 15.0},
    {("sheet", "bow_mm"): 0.4},
    {("sky", "missing"): 1.0},
]
CLIP = 1000.0


@pytest.fixture(scope="module")
def lights():
    return LightStore(RIG)


def seen(stops):
    """Return a photograph of six cells at some level, three of foil."""
    count = 6
    place = np.linspace(-30, 30, count)
    return SeenSheet(
        stops=np.full((count, 3), stops),
        noise=np.full((count, 3), 0.01),
        ended=np.zeros((count, 3), bool),
        is_foil=np.arange(count) < 3,
        purity=np.ones(count),
        x_mm=place,
        y_mm=0.3 * place,
        spread_mm=3.0,
        radius2=np.zeros(count),
    )


def test_each_rig_has_the_light_that_an_engine_of_its_own_finds(lights):
    lights.look_ahead(MOVED)
    for values in MOVED:
        rig = lights._with_room(slipped(RIG, values))
        alone = Engine(rig, detail_for(RIG)).per_lamp(rig)
        names, paper, foil = lights.of(values)
        assert names == alone.names
        # lights of engines that came from different rigs agree to rounding
        np.testing.assert_allclose(paper, alone.paper, rtol=1e-4, atol=1e-6 * paper.max())
        np.testing.assert_allclose(foil, alone.foil, rtol=1e-4, atol=1e-6 * foil.max())


def test_light_does_not_hang_on_what_was_asked_before():
    one, other = LightStore(RIG), LightStore(RIG)
    one.look_ahead(MOVED)
    for values in reversed(MOVED):
        for here, there in zip(one.of(values)[1:], other.of(values)[1:], strict=True):
            np.testing.assert_array_equal(here, there)


def test_light_of_a_plan_serves_every_photograph_of_it(lights):
    for stops in (-3.0, -5.0):
        levels = CellLevels(RIG, seen(stops), lights)
        assert levels.lights is lights
        assert levels.light_of(MOVED[0]).light.shape == (len(RIG.lamps) + 1, 6, 3)


def test_a_dark_rig_is_not_excused_by_its_own_darkness():
    # near the black of a file errors are large: how large says the photograph, not the rig
    fitter = Fitter(seen(-4.0), CLIP, 0.12)
    names = [("camera", axis) for axis in ("x_mm", "y_mm", "z_mm")]
    still = Columns.of(names, np.zeros((6, 3, 3)), [1.0] * 3)
    spreads = [
        fitter.system(np.full((6, 3), CLIP * 2.0**level), still, 0.0).spread
        for level in (-4.0, -8.0)
    ]
    np.testing.assert_array_equal(*spreads)


def test_a_dark_photograph_is_less_sure_than_a_bright_one():
    names = [("camera", axis) for axis in ("x_mm", "y_mm", "z_mm")]
    still = Columns.of(names, np.zeros((6, 3, 3)), [1.0] * 3)
    light = np.full((6, 3), CLIP / 16)
    dark, bright = (
        Fitter(seen(stops), CLIP, 0.12).system(light, still, 0.0).spread for stops in (-7.0, -2.0)
    )
    assert (dark > 2 * bright).all()


def test_mixing_is_what_less_purity_does(lights):
    """By the difference of two purities, foil in paper and paper in foil."""
    cells = replace(seen(-2.0), purity=np.full(6, 0.8))
    found = CellLevels(RIG, cells, lights).mixing()

    def stops(purity):
        levels = CellLevels(RIG, replace(cells, purity=np.full(6, purity)), lights)
        return np.log2(levels.light(RIG).mixed({}, levels.room))

    np.testing.assert_allclose(found, (stops(0.7999) - stops(0.8001)) / 0.0002, rtol=2e-3)
    assert np.abs(found).max() > 0.1
