"""Unevenness, the edge of stamped foil and clear film in the light model.

Against Mitsuba 3.9.1 with the same height field (tests/reference/relief), and closed forms.
"""

import importlib
import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightplan.light import Detail, Engine, coat
from lightplan.light.exposure import camera_picture, clip_luminance, sheet_picture
from lightplan.light.foil import with_unevenness
from lightplan.light.rim import flank_light, outline_of
from lightplan.scene import Film, Foil, Paper, Relief, Sheet, Waviness

FOLDER = Path(__file__).parents[1] / "reference" / "relief"
sys.path.insert(0, str(FOLDER))  # no package
make = importlib.import_module("make")

FINER = 3
FINE = Detail(camera_rows=FINER * make.SIZE[0], camera_cols=FINER * make.SIZE[1])


def pixel_means(picture):
    rows, cols = make.SIZE
    return picture.reshape(rows, FINER, cols, FINER, 3).mean(axis=(1, 3), dtype=float)


def disagreement(ours, stored, kept):
    """Root mean square difference over the mean, the reference's noise taken out."""
    reference, noise = (stored[n][kept].astype(float) for n in ("foil", "foil_se"))
    squared = np.mean((ours[kept] - reference) ** 2) - np.mean(noise**2)
    return math.sqrt(max(squared, 0.0)) / reference.mean()


@pytest.fixture(scope="module")
def wavy():
    """Our foil of the wavy sheet, followed and not, and the path tracer's."""
    rig = make.RIGS["waves"]
    found = [
        pixel_means(Engine(rig, d).layers(rig).camera_foil)
        for d in (FINE, replace(FINE, follows_relief=False))
    ]
    return *found, np.load(FOLDER / "waves.npz")


@pytest.fixture(scope="module")
def pressed():
    """Our layers of the disc pressed into a sheet that is foil all over."""
    rig = make.RIGS["disc"]
    layers = Engine(rig, FINE).layers(rig)
    return rig, replace(layers, camera_paper=layers.camera_foil, sheet_paper=layers.sheet_foil)


def test_wavy_foil_agrees_with_the_path_tracer(wavy):
    followed, blurred, stored = wavy
    seen = np.isfinite(followed[..., 0])
    assert seen.sum() > 3000
    assert disagreement(followed, stored, seen) < 0.03
    assert followed[seen].mean() == pytest.approx(stored["foil"][seen].mean(), rel=0.01)
    # the check can fail: without following the waves it is far off, though right on the whole
    assert disagreement(blurred, stored, seen) > 0.1
    assert blurred[seen].mean() == pytest.approx(stored["foil"][seen].mean(), rel=0.03)


def test_the_edge_of_stamped_foil_agrees_with_the_path_tracer(pressed):
    rig, layers = pressed
    stored = np.load(FOLDER / "disc.npz")
    ours = pixel_means(camera_picture(rig, layers) * clip_luminance(rig, layers))
    at = pixel_means(layers.camera_xyz_mm.astype(np.float32))
    inwards = make.RADIUS_MM - np.hypot(at[..., 0], at[..., 1])
    flank = (inwards > 1.0) & (inwards < 3.0)
    assert flank.sum() > 150
    assert disagreement(ours, stored, flank) < 0.03
    level = pixel_means(camera_picture(rig, replace(layers, rim=None)))
    level = level * clip_luminance(rig, layers)
    assert disagreement(level, stored, flank) > 0.2
    face = inwards > 5.0
    assert disagreement(ours, stored, face) < 0.01


def test_the_flank_covers_a_ring_and_leans_inwards():
    sheet = make.RIGS["disc"].sheet
    found = outline_of(sheet)
    radius, flank = make.RADIUS_MM, sheet.foil.relief.flank_mm
    area = found.share.sum() / 16  # 16 pixels to the mm2
    # closed form of a ring: its width times the length of its middle line
    assert area / (2 * math.pi * (radius - flank / 2)) == pytest.approx(flank, abs=0.25 / 5)
    x, y = (found.col + 0.5) / 4 - 48, 32 - (found.row + 0.5) / 4
    inwards = np.arctan2(-y, -x)
    off = np.angle(np.exp(1j * (found.facing_rad - inwards)))
    assert np.sqrt(np.mean(off**2)) < math.radians(2.5)
    assert np.abs(off).max() < math.radians(7)


def test_raised_foil_shows_across_what_pressed_foil_shows_here(pressed):
    rig, layers = pressed
    relief = rig.sheet.foil.relief
    foil = replace(rig.sheet.foil, relief=replace(relief, depth_mm=-relief.depth_mm))
    raised = Engine(rig, FINE).layers(replace(rig, sheet=replace(rig.sheet, foil=foil)))
    half = len(layers.rim.luminance) // 2
    assert raised.rim.luminance == pytest.approx(np.roll(layers.rim.luminance, half, 0), rel=1e-3)


def test_the_squared_picture_holds_the_edge_wholly(pressed):
    # light adds up: what the coarse grid shows of the edge is what the artwork's pixels hold
    rig, layers = pressed
    whole, level = sheet_picture(rig, layers), sheet_picture(rig, replace(layers, rim=None))
    added = (whole - level).mean(axis=(0, 1)) * clip_luminance(rig, layers)
    light = flank_light(rig, layers.rim)
    flank, glow = light[..., 0], light[..., 1:]
    rows, cols = flank.shape
    row = np.rint((np.arange(rows) + 0.5) / rows * (layers.sheet_foil.shape[0] - 1)).astype(int)
    col = np.rint((np.arange(cols) + 0.5) / cols * (layers.sheet_foil.shape[1] - 1)).astype(int)
    face = layers.sheet_foil[row][:, col]
    assert added == pytest.approx((glow - flank[..., None] * face).mean(axis=(0, 1)), rel=0.01)


def test_each_lamps_light_holds_its_edge(pressed):
    rig, layers = pressed
    apart = Engine(rig, FINE).per_lamp(rig)
    together = sum(rim.luminance for rim in apart.rims)
    assert together == pytest.approx(layers.rim.luminance, rel=1e-3)


def test_quick_looks_leave_the_edge_out(pressed):
    rig, _ = pressed
    assert Engine(rig, Detail.quick()).layers(rig).rim is None
    bare = replace(rig, sheet=replace(rig.sheet, foil=replace(rig.sheet.foil, relief=None)))
    assert Engine(bare, FINE).layers(bare).rim is None


def test_artwork_without_outline_has_no_edge():
    for art in ([[1.0]], np.ones((20, 30)), np.zeros((20, 30))):
        sheet = Sheet(width_mm=30, height_mm=20, artwork=art, foil=Foil(relief=Relief()))
        assert outline_of(sheet).share.sum() == 0


def test_unevenness_that_is_not_followed_widens_the_lobe():
    # alpha of Beckmann's distribution is sqrt(2) times the slope (Walter et al. 2007)
    along, across = with_unevenness((0.03, 0.4), math.atan(0.04 / math.sqrt(2)))
    assert along == pytest.approx(0.05)
    assert across == pytest.approx(math.hypot(0.4, 0.04))


def test_an_engine_that_was_asked_about_a_smooth_sheet_follows_another_seed():
    rig = make.RIGS["waves"]
    small = Detail(camera_rows=8, camera_cols=12, foil_rays=20_000, cells=4)
    engine = Engine(rig, small)
    first = engine.layers(rig).sheet_foil
    paper = Paper(waviness=Waviness(slope_rad=math.radians(1), wavelength_mm=12.0, seed=9))
    other = replace(rig, sheet=replace(rig.sheet, paper=paper))
    moved = engine.layers(other).sheet_foil
    assert np.array_equal(moved, Engine(other, small).layers(other).sheet_foil)
    assert np.abs(moved / first - 1).max() > 0.05


@pytest.mark.parametrize("index", [1.3, 1.5, 1.65])
def test_film_mirrors_with_both_faces(index):
    paper = Paper(film=Film(under=(0, 0, 0), transmittance=1.0, index=index))
    one = ((index - 1) / (index + 1)) ** 2
    # two faces without loss, powers added: R = 2 r / (1 + r), T = 1 - R (closed form)
    assert coat.curve(paper).evaluate(1.0)[0] == pytest.approx(2 * one / (1 + one), rel=1e-6)
    assert coat.passes(paper, np.array(1.0)) == pytest.approx(1 - 2 * one / (1 + one), rel=1e-9)


def test_film_on_white_gives_back_all_and_on_black_its_mirror_image_alone():
    white = Paper(film=Film(under=(1, 1, 1), transmittance=1.0))
    assert coat.albedo(white) == pytest.approx((1, 1, 1), abs=1e-4)
    black = Paper(film=Film(under=(0, 0, 0)))
    assert coat.albedo(black)[0] == pytest.approx(coat.outside_reflectance(black))
    dim = Paper(film=Film(under=(1, 1, 1), transmittance=0.5))
    assert coat.albedo(dim)[0] < 0.35


def test_what_lies_under_film_is_seen_through_it():
    rig = make.RIGS["disc"]
    small = Detail(camera_rows=8, camera_cols=12, foil_rays=20_000, cells=4)

    def paper(film):
        lain = replace(rig, sheet=replace(rig.sheet, paper=Paper(film=film)))
        found = Engine(lain, small).layers(lain).sheet_paper
        return found.mean(axis=(0, 1))

    red, dark = paper(Film(under=(0.8, 0.1, 0.1))), paper(Film(under=(0, 0, 0)))
    assert red[0] - dark[0] > 5 * (red[1] - dark[1])


def test_the_way_that_an_edge_faces_does_not_stray_from_pixel_to_pixel():
    # A disk: the foil lies towards its middle from every place of its edge (closed form).
    rows = cols = 240
    y, x = np.mgrid[:rows, :cols] - 119.5
    away = np.hypot(x, y)
    sheet = Sheet(
        width_mm=60,
        height_mm=60,
        artwork=np.clip(80.0 - away + 0.5, 0.0, 1.0),
        foil=Foil(kind="gold foil", relief=Relief(depth_mm=0.07, flank_mm=0.6)),
    )
    found = outline_of(sheet)
    exact = np.arctan2(found.row - 119.5, -(found.col - 119.5))
    off = np.abs(np.angle(np.exp(1j * (found.facing_rad - exact))))
    assert np.degrees(off.max()) < 2.0
