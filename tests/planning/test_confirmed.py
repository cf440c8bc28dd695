"""Plans confirmed by an independent path tracer (Mitsuba 3.9.1, all bounces).

The planned rigs and their renderings are in tests/reference/planned; its README says what
is rendered. The bounds are those of the prediction: 1 % root mean square on paper and on foil,
and 3 points of score.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
from scipy.ndimage import maximum_filter, minimum_filter

from lightplan.light import Detail, Engine
from lightplan.light.exposure import clip_luminance, sheet_share
from lightplan.measures import SheetMaps, judge, measure
from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import EngineModel, final_detail
from lightplan.rigfiles import load_rig

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "planned"))  # no package

from rig_scene import framed, scene_of

FOLDER = Path(__file__).parents[1] / "reference" / "planned"
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))
LOOKS = {"bright field", "gradient", "dark field", "split", "rainbow"}
FINER = 3  # our pixels along a pixel of the path tracer, which gives means over its pixels


@pytest.fixture(scope="module", params=NAMES)
def case(request):
    rig, layers = predicted(request.param)
    return rig, layers, np.load(FOLDER / f"{request.param}.npz")


def predicted(name, **detail):
    """The rig of a case and our layers in the path tracer's frame."""
    rig = load_rig(FOLDER / f"{name}.toml").rig
    cut, (rows, cols) = framed(rig)
    detail = Detail(camera_rows=FINER * rows, camera_cols=FINER * cols, **detail)
    return rig, Engine(cut, detail).layers(cut)


def pixel_means(layer, mask):
    """Means of our picture over the path tracer's pixels inside the mask, (n, 3)."""
    rows, cols = mask.shape
    blocks = layer.reshape(rows, FINER, cols, FINER, 3)
    return blocks.mean(axis=(1, 3), dtype=float)[mask]


def relative_error(ours, stored, layer):
    """Root mean square difference over the mean, the reference's noise taken out."""
    kept = np.stack([comparable(c) for c in np.moveaxis(stored[layer], 2, 0)], axis=2)
    kept = kept[stored["mask"]]
    reference, noise = (stored[f"{layer}{n}"][stored["mask"]].astype(float) for n in ("", "_se"))
    noise = np.where(reference > 0, noise, 0.0)
    reference = np.maximum(reference, 0.0)
    squared = np.mean((ours - reference)[kept] ** 2) - np.mean(noise[kept] ** 2)
    return np.sqrt(max(squared, 0.0)) / reference[kept].mean()


def comparable(channel):
    """Where a pixel's mean can be compared: not where a channel passes through 0.

    Pure colours have negative channels, which a picture shows as 0: we cut every point off,
    the path tracer's pixel can only be cut off as a whole.
    """
    least, most = minimum_filter(channel, 3), maximum_filter(channel, 3)
    return (least >= 0) | (most <= 0)


def test_ten_plans_and_every_look_are_confirmed():
    assert len(NAMES) >= 10
    assert {load_rig(FOLDER / f"{name}.toml").rig.look.kind for name in NAMES} == LOOKS


@pytest.mark.parametrize("name", ["rainbow_fine", "rainbow_aslant"])
def test_most_of_a_rainbow_is_compared(name):
    stored = np.load(FOLDER / f"{name}.npz")
    kept = [comparable(channel) for channel in np.moveaxis(stored["foil"], 2, 0)]
    assert np.mean([k[stored["mask"]] for k in kept]) > 0.7


@pytest.mark.parametrize("layer", ["paper", "foil"])
def test_the_light_of_a_plan_is_the_path_tracers(case, layer):
    _, layers, stored = case
    ours = pixel_means(getattr(layers, f"camera_{layer}"), stored["mask"])
    assert np.isfinite(ours).all()
    assert relative_error(ours, stored, layer) < 0.01


def test_finer_detail_comes_nearer_to_the_path_tracer():
    """Brushed metal that sees a steeply lit board in the flank of its lobe."""
    stored = np.load(FOLDER / "brushed_dark.npz")
    detail = ({}, {"cells": 14, "foil_spots": 576}, {"cells": 20, "foil_spots": 1024})
    errors = []
    for more in detail:
        ours = pixel_means(predicted("brushed_dark", **more)[1].camera_foil, stored["mask"])
        errors.append(relative_error(ours, stored, "foil"))
    assert errors[1] <= errors[0]
    assert max(errors[1:]) < 0.003


def path_traced(layers, stored, layer):
    """The path tracer's light on our sheet's grid: ours, moved by their difference.

    The difference at the path tracer's pixels is laid between them linearly; so what is finer
    than its pixels is ours.
    """
    mask = stored["mask"]
    off = np.maximum(stored[layer][mask], 0) - pixel_means(getattr(layers, f"camera_{layer}"), mask)
    places = 1000 * stored["xyz"][mask][:, :2]
    grid = np.stack(np.meshgrid(layers.sheet_x_mm, layers.sheet_y_mm), axis=-1)
    inside = LinearNDInterpolator(places, off)(grid)
    shift = np.where(np.isfinite(inside), inside, NearestNDInterpolator(places, off)(grid))
    return getattr(layers, f"sheet_{layer}") + shift


def score_of(rig, layers, paper, foil):
    """The score of a sheet under given light, at the exposure of the plan."""
    share = sheet_share(rig, layers)[..., None]
    linear = (paper + share * (foil - paper)) / clip_luminance(rig, layers)
    maps = SheetMaps.from_linear(
        np.maximum(linear, 0).astype(np.float32),
        share[..., 0],
        width_mm=rig.sheet.width_mm,
        height_mm=rig.sheet.height_mm,
    )
    stock = rig.sheet.paper.reflectance
    found = measure(maps, rig.look, rig.sheet.foil.judged_kind, stock_reflectance=stock)
    return judge(found, rig.look).score


def test_the_score_of_a_plan_is_that_of_the_path_tracers_picture(case):
    rig, layers, stored = case
    traced = score_of(rig, layers, *(path_traced(layers, stored, n) for n in ("paper", "foil")))
    ours = score_of(rig, layers, layers.sheet_paper, layers.sheet_foil)
    assert traced is not None
    assert traced == pytest.approx(ours, abs=3.0)


def test_the_score_compared_here_is_the_one_a_plan_states():
    rig = load_rig(FOLDER / "brushed_split.toml").rig
    layers = Engine(rig, final_detail()).layers(rig)
    stated = Bench(rig, EngineModel(rig, final_detail())).judge(rig).score
    ours = score_of(rig, layers, layers.sheet_paper, layers.sheet_foil)
    assert stated == pytest.approx(ours, abs=0.05)


def test_a_scene_that_cannot_be_told_is_refused():
    rig, size = framed(load_rig(FOLDER / f"{NAMES[0]}.toml").rig)
    turned = replace(rig, sheet=replace(rig.sheet, foil=replace(rig.sheet.foil, brush_rad=0.3)))
    with pytest.raises(ValueError, match="brushing aslant"):
        scene_of(turned, size)
