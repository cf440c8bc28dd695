"""The light model against an independent path tracer (Mitsuba 3.9.1, all bounces).

The stored pictures, their noise and the script that renders them are in
tests/reference/pathtraced. The bound is 1 % root mean square over the sheet after the
renderer's own noise is taken out, for paper and for foil.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from lightplan.light import Detail, Engine

FOLDER = Path(__file__).parents[1] / "reference" / "pathtraced"
SCENES = sorted(p.stem for p in FOLDER.glob("*.json"))
SHARED_SCENES = (
    "s01_softbox45",
    "s02_softbox_mirror",
    "s03_bounce_card",
    "s05_bare_disk",
    "s06_strip",
    "s09_white_v",
    "s12_camera_body",
)


def relative_error(ours, reference, noise):
    """Root mean square difference over the mean, the reference's noise taken out."""
    ours, reference = ours.astype(float), reference.astype(float)
    squared = np.mean((ours - reference) ** 2) - np.mean(noise.astype(float) ** 2)
    return np.sqrt(max(squared, 0.0)) / reference.mean()


def predict(rig, scene):
    detail = Detail(camera_rows=scene["camera"]["height"], camera_cols=scene["camera"]["width"])
    return Engine(rig, detail).layers(rig)


@pytest.mark.parametrize("name", SCENES)
def test_agrees_with_the_stored_pictures(name, rig_of_scene, tint_of_scene):
    scene = json.loads((FOLDER / f"{name}.json").read_text())
    stored = np.load(FOLDER / f"{name}.npz")
    layers = predict(rig_of_scene(scene), scene)
    mask = stored["mask"]
    seen = mask & np.isfinite(layers.camera_paper[..., 0])
    assert seen.sum() >= 0.99 * mask.sum()
    assert np.abs(layers.camera_xyz_mm - 1000 * stored["xyz"])[seen].max() < 0.05
    for layer in ("paper", "foil"):
        ours = getattr(layers, f"camera_{layer}")[seen] * tint_of_scene(scene)
        error = relative_error(ours, stored[layer][seen], stored[f"{layer}_se"][seen])
        assert error < 0.01, (name, layer, error)


@pytest.mark.parametrize("name", SHARED_SCENES)
def test_agrees_with_the_shared_pictures(name, oracle_folder, rig_of_scene):
    scene = json.loads((oracle_folder / f"{name}.json").read_text())
    layers = predict(rig_of_scene(scene), scene)
    mask = np.load(oracle_folder / f"{name}_mask.npy").astype(bool)
    for layer in ("paper", "foil"):
        reference = np.load(oracle_folder / f"{name}_{layer}.npy")[mask]
        noise = np.load(oracle_folder / f"{name}_{layer}_se.npy")[mask]
        ours = getattr(layers, f"camera_{layer}")[mask]
        assert np.isfinite(ours).all()
        assert relative_error(ours, reference, noise) < 0.01, (name, layer)
