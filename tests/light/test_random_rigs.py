"""Any rig that can be written down gets a finite answer, and always the same one."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
from hypothesis import HealthCheck, Phase, given, settings

from lightplan.light import Detail, Engine
from lightplan.light.exposure import camera_picture, clip_luminance, sheet_picture

SOURCE = Path(__file__).parents[1] / "rig_strategies.py"
if "rig_strategies" not in sys.modules:
    spec = importlib.util.spec_from_file_location("rig_strategies", SOURCE)
    sys.modules["rig_strategies"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(sys.modules["rig_strategies"])
rigs = sys.modules["rig_strategies"].rigs

TINY = Detail(
    sheet_long_side=13, camera_rows=18, camera_cols=24, cells=3, thin_cells=0, near=4.0, texels=8,
    direct_long_side=7, bounce_long_side=5, lamp_spots=13, cell_lamp_spots=5, penumbra_spots=34,
    sky_rays=34, cell_sky_rays=13, foil_rays=2000, foil_spots=12, hidden_spots=34, mirror_spots=3,
    mirror_rounds=2,
)  # fmt: skip
# not shrunk: that would take minutes, and a failing rig is printed whole
FAIR = settings(
    derandomize=True,
    deadline=None,
    max_examples=25,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
    report_multiple_bugs=False,
)
FEW = settings(FAIR, max_examples=10)


def sheet_layers(rig):
    layers = Engine(rig, TINY).layers(rig)
    return layers, (layers.sheet_paper, layers.sheet_foil)


@FAIR
@given(rigs())
def test_every_valid_rig_gives_finite_pictures_and_the_same_twice(rig):
    layers, sheets = sheet_layers(rig)
    for layer in sheets:
        assert np.isfinite(layer).all()
        assert layer.min() >= 0
    again, _ = sheet_layers(rig)
    for name in (
        "sheet_paper",
        "sheet_foil",
        "sees",
        "camera_paper",
        "camera_foil",
        "camera_surround",
        "camera_xyz_mm",
    ):
        assert getattr(layers, name).tobytes() == getattr(again, name).tobytes(), name
    assert layers.sees_names == again.sees_names
    assert 0 <= layers.sees.min() <= layers.sees.max() < len(layers.sees_names)
    on_sheet = np.isfinite(layers.camera_xyz_mm).all(axis=-1)
    assert np.isfinite(layers.camera_paper[on_sheet]).all()
    assert np.isfinite(layers.camera_foil[on_sheet]).all()
    beside = np.isfinite(layers.camera_surround).all(axis=-1)
    assert (on_sheet ^ beside).all()  # every pixel shows the sheet or something else
    assert 0 < clip_luminance(rig, layers) < np.inf
    for picture in (sheet_picture(rig, layers), camera_picture(rig, layers)):
        assert np.isfinite(picture).all()
        assert picture.min() >= 0


@FEW
@given(rigs())
def test_light_adds_up_in_every_valid_rig(rig):
    engine = Engine(rig, TINY)
    layers, parts = engine.layers(rig), engine.per_lamp(rig)
    powers = np.array([2.0**lamp.trim_stops if lamp.on else 0.0 for lamp in rig.lamps])
    paper, foil = parts.mix(powers)
    # summed lamp by lamp, undershoots of interpolated grids are cut lamp by lamp: never less
    assert (paper >= layers.sheet_paper - 2e-3 * layers.sheet_paper.max() - 1e-4).all()
    assert foil.mean() >= 0.99 * layers.sheet_foil.mean() - 1e-4
    assert np.median(np.abs(foil - layers.sheet_foil)) <= 5e-3 * layers.sheet_foil.max() + 1e-4
    assert np.median(np.abs(paper - layers.sheet_paper)) <= 5e-3 * layers.sheet_paper.max() + 1e-4


@FEW
@given(first=rigs(most_lamps=2, most_cards=2), second=rigs(most_lamps=2, most_cards=2))
def test_an_engine_may_go_from_any_rig_to_any_other(first, second):
    engine = Engine(first, TINY)
    engine.layers(first)
    then = engine.layers(second)
    fresh = Engine(second, TINY).layers(second)
    for name in ("sheet_paper", "sheet_foil"):
        assert np.array_equal(getattr(then, name), getattr(fresh, name))
