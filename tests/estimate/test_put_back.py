"""A sheet that was put back under a still camera: its step is in its corners."""

from __future__ import annotations

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.estimate.laid_again import model_slopes, turned_foil
from lightplan.estimate.light_store import LightStore, fine_detail
from lightplan.estimate.put_back import gradients, put_back
from lightplan.estimate.seen import SeenSheet
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import sheet_turned

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))

from bases import base_rig

SHAPE = (1500, 2000)


def corners_of(rig, step=(0.0, 0.0, 0.0)):
    """Return where the rig's camera sees the corners of a sheet that lies a step off."""
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    turn = np.radians(step[2])
    around = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    places = np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]]) * half @ around + step[:2]
    return rig.camera.project(np.column_stack([places, np.zeros(4)]), *SHAPE)


def moved(rig, along):
    """Return the rig with its camera elsewhere, aimed as before."""
    at = rig.camera.placement
    there = tuple(a + b for a, b in zip(at.position_mm, along, strict=True))
    return replace(rig, camera=replace(rig.camera, placement=replace(at, position_mm=there)))


@pytest.mark.parametrize("step", [(0.0, 0.0, 0.0), (1.5, -0.8, 0.4), (-3.0, 2.0, -1.0)])
def test_a_step_of_the_sheet_is_read_from_its_corners(step):
    # the rig's own camera is the source of where corners are seen; noise of 0.3 pixels
    rig = load_rig("silver-bookplate-bright").rig
    noise = np.random.default_rng(3).normal(0, 0.3, (2, 4, 2))
    before, after = corners_of(rig) + noise[0], corners_of(rig, step) + noise[1]
    found = put_back(rig.sheet, before, after, float(max(SHAPE)))
    assert found is not None
    assert np.abs(found.step - step).max() < 0.2
    assert (np.abs(found.step - step) < 3 * found.sigma).all()


@pytest.mark.parametrize("along", [(0.0, 0.0, 12.0), (0.0, 0.0, -40.0), (60.0, 0.0, 0.0)])
def test_a_camera_that_moved_is_not_taken_for_a_sheet(along):
    rig = load_rig("silver-bookplate-bright").rig
    other = moved(rig, along)
    assert put_back(rig.sheet, corners_of(rig), corners_of(other), float(max(SHAPE))) is None


def test_gradients_are_those_of_the_light():
    # a plane of light in stops, foil and paper of different slopes: known by how it was made
    x, y = (a.ravel() for a in np.meshgrid(np.arange(-40.0, 41, 5), np.arange(-30.0, 31, 5)))
    is_foil = (np.arange(len(x)) % 3) == 0
    slope = np.where(is_foil[:, None], [0.02, -0.01], [0.003, 0.005])
    stops = (slope[:, 0] * x + slope[:, 1] * y)[:, None] - np.array([1.0, 1.5, 2.0])
    seen = SeenSheet(
        stops=stops, noise=0 * stops, ended=stops > 1, is_foil=is_foil, purity=np.ones(len(x)),
        x_mm=x, y_mm=y, spread_mm=2.5, radius2=0 * x,
    )  # fmt: skip
    found = gradients(seen)
    assert np.abs(found - slope[:, None, :]).max() < 0.1 * 0.02


def test_across_a_thin_line_of_foil_the_model_tells_the_gradient():
    # cells of one line of foil, slope known by how it was made: along it they tell it themselves
    x = np.arange(-60.0, 61, 6)
    slope, told = np.array([0.01, 0.03]), np.array([0.0, 0.028])
    stops = (slope[0] * x)[:, None] - np.array([1.0, 1.5, 2.0])
    count = len(x)
    seen = SeenSheet(
        stops=stops, noise=0 * stops, ended=stops > 1, is_foil=np.ones(count, bool),
        purity=np.ones(count), x_mm=x, y_mm=0 * x + 40, spread_mm=3.0, radius2=0 * x,
    )  # fmt: skip
    slopes = np.broadcast_to(told, (count, 3, 2))
    found = gradients(seen, np.zeros_like(stops), slopes)
    assert np.abs(found[..., 0] - slope[0]).max() < 0.1 * slope[0]
    np.testing.assert_allclose(found[..., 1], told[1], atol=1e-9)
    assert np.abs(gradients(seen)[..., 1]).max() < 1e-9  # alone the line says nothing of it


def cells(rig):
    """Return places all over a sheet of foil, as cells of a photograph."""
    half = 0.35 * np.array([rig.sheet.width_mm, rig.sheet.height_mm])
    x, y = (a.ravel() for a in np.meshgrid(*(np.linspace(-h, h, 7) for h in half)))
    stops = np.zeros((len(x), 3))
    return SeenSheet(
        stops=stops, noise=stops, ended=stops > 1, is_foil=np.ones(len(x), bool),
        purity=np.ones(len(x)), x_mm=x, y_mm=y, spread_mm=2.0, radius2=0 * x,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("plan", "turns_along"), [("brushed_split", True), ("copper_bright", False)]
)
def test_a_direction_of_its_own_turns_with_the_sheet(plan, turns_along):
    """Brushed foil shows other light where it is turned on the table; plain foil shows the same.

    The light engine at both turns is the source: what other places of the same light explain
    (cells carried round the middle) is taken off.
    """
    rig, clip = base_rig(plan), 100.0
    seen, lights = cells(rig), LightStore(rig, fine_detail(rig))
    _, slopes = model_slopes(rig, seen, lights, clip)
    told = turned_foil(rig, seen, lights, clip, slopes)
    turn = math.radians(0.8)
    x = math.cos(turn) * seen.x_mm - math.sin(turn) * seen.y_mm
    y = math.sin(turn) * seen.x_mm + math.cos(turn) * seen.y_mm

    def at(rig, where):
        levels = CellLevels(rig, where, lights)
        return to_stops(levels.light(rig).mixed({}, levels.room), clip)

    # a cell of the turned sheet lies where another cell lay
    left = at(sheet_turned(rig, 0.8), seen) - at(rig, replace(seen, x_mm=x, y_mm=y))
    if turns_along:
        assert np.sqrt((left**2).mean()) > 0.007
        assert np.sqrt(((left - 0.8 * told) ** 2).mean()) < 0.4 * np.sqrt((left**2).mean())
    else:
        assert not told.any()
        assert np.sqrt((left**2).mean()) < 0.004
