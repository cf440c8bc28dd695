"""A strip of foil beside the sheet: its light, its lean, and a slip that narrow foil hides.

Levels are the light engine's own: what is tried here is where the strip's light is worked out, and
the fit. `../advice/strips.py` asks the path tracer.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from made_cells import cells_at

from lightplan.estimate import Photographed, estimate_together, estimating, telling
from lightplan.estimate.cell_levels import CellLevels, to_stops
from lightplan.estimate.light_store import SLOPED
from lightplan.estimate.seen import seen_together
from lightplan.estimate.strip import lens_ways, rig_of_strip
from lightplan.estimate.strip_pays import added_by_strips, strips_beside
from lightplan.rigfiles import load_rig
from lightplan.scene import Shell
from lightplan.scene.slips import slipped
from lightplan.tasks.advise import plan_settings
from lightplan.tasks.doubt_words import doubt_words

REFERENCE = Path(__file__).parents[1] / "reference"
sys.path.insert(0, str(REFERENCE / "slipped"))
PLAN = load_rig(REFERENCE / "planned" / "rose_gold_dark.toml").rig
SLIP = ("left softbox", "y_mm")
SIZE_MM = 45.0


def light_of(rig, seen):
    levels = CellLevels(rig, seen)
    return levels.light(rig).mixed({}, levels.room)


def strip_on(side):
    return next(strip for name, strip in strips_beside(PLAN) if name == side)


@pytest.mark.parametrize("side", ["left", "near"])
def test_its_light_is_that_of_a_sheet_that_reaches_there(side):
    """All of the table round the sheet is foil: what it mirrors at the strip's place is the same.

    The plan's boards are black, so that what lies on the table throws nothing that counts on
    what is mirrored.
    """
    black = tuple(
        replace(card, front=replace(card.front, reflectance=(0.0,) * 3)) for card in PLAN.cards
    )
    rig = replace(PLAN, cards=black, freedoms=())
    strip = strip_on(side)
    own = light_of(rig_of_strip(rig, strip), strip.seen)
    sheet = replace(
        rig.sheet, width_mm=520.0, height_mm=480.0, artwork=np.ones((1, 1)), artwork_file=None
    )
    x, y = strip.seen.x_mm + strip.middle_mm[0], strip.seen.y_mm + strip.middle_mm[1]
    whole = light_of(replace(rig, sheet=sheet), cells_at(x, y, is_foil=True, spread_mm=3.0))
    bright = whole.max(axis=1) > 0.05 * whole.max()
    assert bright.sum() > 3
    apart = np.abs(np.log2(own / whole))[bright]
    # both are followed between places of their own grids: edges of boards lie between these
    assert np.median(apart) < 0.06
    assert np.quantile(apart, 0.8) < 0.15


def test_under_a_cone_no_strip_is_asked_for_that_would_lie_outside_it():
    cone = Shell(name="cone", foot_width_mm=400.0)
    assert not list(strips_beside(replace(PLAN, shells=(cone,))))
    tent = Shell(name="tent", shape="tent", foot_width_mm=600.0, foot_depth_mm=300.0)
    sides = [side for side, _ in strips_beside(replace(PLAN, shells=(tent,)))]
    assert sides == ["left", "right"]


def test_steps_of_two_lamps_share_a_rig_and_tell_what_each_tells_alone(frame, monkeypatch):
    clip, photo, _ = frame
    kept = []
    whole = telling.doubts_of
    monkeypatch.setattr(estimating, "doubts_of", lambda *them: kept.append(them) or whole(*them))
    found_in(clip, photo)
    search, best = kept[0]
    names = telling.Curvature.of(search, best).names
    lamps = [lamp.name for lamp in PLAN.lamps]
    assert len(lamps) == 2
    asked = []
    light_of_values = CellLevels.light_of
    monkeypatch.setattr(
        CellLevels, "light_of", lambda *them: asked.append(them) or light_of_values(*them)
    )
    both = added_by_strips(search, best, names, set(lamps))
    count = len(asked)
    one, two = (added_by_strips(search, best, names, {lamp}) for lamp in lamps)
    steps, cameras = 10, 4  # of the two lamps; of the lens and the rig itself
    assert count <= len(both) * (steps // 2 + cameras)
    for side, normal in both.items():
        for lamp, alone in zip(lamps, (one, two), strict=True):
            at = np.array([i for i, n in enumerate(names) if n[0] == lamp and n[1] in SLOPED])
            np.testing.assert_allclose(
                normal[np.ix_(at, at)],
                alone[side][np.ix_(at, at)],
                atol=0.05 * max(alone[side][np.ix_(at, at)].max(), 1.0),
            )


def test_a_lean_shows_what_a_step_of_the_lens_does():
    """The mirrored lens moves alike: a mirror's law, told by its own mirrored point."""
    lens = np.array([40.0, -200.0, 450.0])

    def mirrored(place, normal):
        return place - 2 * (place @ normal) * normal

    upright = np.array([0.0, 0.0, 1.0])
    for way, toward in zip(lens_ways(lens), ((1.0, 0.0), (0.0, 1.0)), strict=True):
        small = np.radians(0.01)
        leaning = np.array([small * toward[0], small * toward[1], 1.0])
        leaning /= np.linalg.norm(leaning)
        stepped = mirrored(lens + 0.01 * way, upright)
        np.testing.assert_allclose(mirrored(lens, leaning), stepped, atol=1e-4)


@pytest.fixture(scope="module")
def frame():
    """Levels of a set in which a softbox has slipped, on paper with little foil, and a strip."""
    clip = plan_settings(PLAN).clip_cd_m2
    built = slipped(PLAN, {SLIP: SIZE_MM})
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(-36, 36, 9), np.linspace(-22, 22, 6)))
    paper = cells_at(x, y, is_foil=False, spread_mm=3.0)
    foil = cells_at(x[:6] + 4.0, np.full(6, 8.0), is_foil=True, spread_mm=3.0)  # one narrow line
    draw = np.random.default_rng(7)

    def read(rig, seen):
        light = light_of(rig, seen)
        stops = to_stops(light, clip)
        noisy = np.minimum(stops + draw.normal(0, 0.01, stops.shape), 0)
        return replace(seen, stops=noisy, ended=noisy >= 0)

    both = [read(built, seen) for seen in (paper, foil)]
    strip = strip_on("left")
    strip = replace(strip, seen=read(rig_of_strip(built, strip), strip.seen))
    corners = PLAN.camera.project(
        np.array([[-1, 1, 0], [1, 1, 0], [1, -1, 0], [-1, -1, 0.0]])
        * [PLAN.sheet.width_mm / 2, PLAN.sheet.height_mm / 2, 0],
        *PLAN.camera.pixels[::-1],
    )
    rows, cols = PLAN.camera.pixels[::-1]
    focal = PLAN.camera.focal_length_mm / PLAN.camera.sensor_width_mm * cols
    return clip, Photographed(seen_together(both), corners, (rows, cols), focal, clip), strip


def found_in(clip, photo):
    return estimate_together(PLAN, (photo,), clip_cd_m2=clip)


def test_a_slip_that_narrow_foil_hides_is_seen_in_the_strip(frame):
    clip, photo, strip = frame
    hidden = found_in(clip, photo)
    assert SLIP[0] not in {s.element for s in hidden.slips}
    seen = found_in(clip, replace(photo, strip=strip))
    assert [s.element for s in seen.slips] == [SLIP[0]]
    (slip,) = seen.slips
    assert slip.dimension == SLIP[1]
    assert abs(slip.value - SIZE_MM) < max(3 * slip.uncertainty, 8.0)
    assert len(seen.residual) == len(photo.seen)  # what is drawn on the sheet is of the sheet


def test_a_strip_that_the_second_photograph_alone_shows_is_read_there(frame):
    clip, photo, strip = frame
    noise = np.random.default_rng(8).normal(0, 0.01, photo.seen.stops.shape)
    again = replace(photo.seen, stops=np.minimum(photo.seen.stops + noise, 0))
    for shown in (None, strip):
        second = replace(photo, seen=again, strip=shown)
        found = estimate_together(PLAN, (photo, second), clip_cd_m2=clip)
        told = {(s.element, s.dimension): s.value for s in found.slips}
        assert (SLIP in told) is (shown is not None)
    assert set(told) == {SLIP}
    assert told[SLIP] == pytest.approx(SIZE_MM, abs=15.0)


def test_where_it_pays_is_told_and_so_it_turns_out(frame):
    """What the strip was said to leave uncertain is what the fit with it says, within a third."""
    clip, photo, _ = frame
    built = slipped(PLAN, {SLIP: 0.0})
    strip = strip_on("left")
    levels = to_stops(light_of(rig_of_strip(built, strip), strip.seen), clip)
    strip = replace(strip, seen=replace(strip.seen, stops=np.minimum(levels, 0), ended=levels >= 0))
    straight = [
        to_stops(light_of(built, one), clip)
        for one in (replace(photo.seen, is_foil=photo.seen.is_foil),)
    ]
    right = replace(photo, seen=replace(photo.seen, stops=straight[0]))
    without = found_in(clip, right)
    asked = [d for d in without.doubts if d.element == SLIP[0] and d.strip == "left"]
    assert asked
    assert "to the left of the sheet, leading away" in doubt_words(PLAN, asked[0])
    after = found_in(clip, replace(right, strip=strip))
    for doubt in asked:
        left = [d.sigma for d in after.doubts if (d.element, d.kind) == (SLIP[0], doubt.kind)]
        assert all(sigma < 1.34 * doubt.strip_sigma for sigma in left)
    assert all(not d.strip for d in after.doubts)  # it lies there already
