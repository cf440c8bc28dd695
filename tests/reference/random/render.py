"""Render drawn scenes with Mitsuba 3 to a stated noise: paper and foil, and where the sheet is.

    OUT=FOLDER python tests/reference/random/render.py SCENES [--noise 0.003] [--seconds 3]

SCENES is a folder of JSON files. FOLDER/pictures.npz then holds, for every NAME, NAME_paper and
NAME_foil (rows, cols, 3) float16 over NAME_paper_scale, NAME_paper_se (the root mean square of
the standard error, one number, in the same unit), and NAME_mask, the pixels wholly on the sheet.
VARIANT chooses Mitsuba's variant (cuda_ad_rgb on a graphics card).
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "pathtraced"))

import mitsuba_scene
import render

BATCH = 4096  # samples per pixel in one go
LEAST = 4  # goes, to know the noise


def picture(
    mi: Any, built: Any, camera: dict[str, Any], mask: np.ndarray, noise: float, seconds: float
) -> tuple[np.ndarray, float]:
    """Return the mean of independent goes and the root mean square of its standard error.

    A go that came out as no number in some pixel (a grazing ray on a grating) is left out there.
    """
    crop = render.Crop(0, 0, camera["width"], camera["height"])
    go = render.renderer(mi, built, render.sensor(mi, camera, crop))
    batch = int(os.environ.get("BATCH", BATCH))
    total = squares = counted = np.zeros((1, 1, 1))
    began, count, error = time.perf_counter(), 0, math.inf
    while True:
        image = go(1000 + count, batch)
        sound = np.isfinite(image).all(axis=2, keepdims=True)
        image = np.where(sound, image, 0.0)
        total, squares = total + image, squares + image**2
        count, counted = count + 1, counted + sound
        if count < LEAST:
            continue
        goes = np.maximum(counted, 2)
        mean = total / goes
        variance = np.maximum(squares / goes - mean**2, 0) / (goes - 1)
        error = float(np.sqrt(variance[mask].mean()))
        if error <= noise * mean[mask].mean() or time.perf_counter() - began > seconds:
            return mean, error


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", type=Path)
    parser.add_argument("--noise", type=float, default=0.003)
    parser.add_argument("--seconds", type=float, default=3.0, help="at the most, of each layer")
    parser.add_argument("--limit", type=float, default=540.0, help="of all, s")
    options = parser.parse_args()
    mi = mitsuba_scene.start(os.environ.get("VARIANT", "cuda_ad_rgb"))
    began, store = time.perf_counter(), {}
    for path in sorted(options.scenes.glob("*.json")):
        if time.perf_counter() - began > options.limit:
            print("time is up before", path.stem)
            break
        scene, name = json.loads(path.read_text("utf-8")), path.stem
        try:
            for layer in ("paper", "foil"):
                built = mitsuba_scene.build(mi, scene, layer)
                if layer == "paper":
                    mask, _ = render.covered_pixels(mi, built, scene)
                mean, error = picture(
                    mi, built, scene["camera"], mask, options.noise, options.seconds
                )
                scale = float(mean[mask].mean())
                store[f"{name}_{layer}"] = np.float16(np.minimum(mean / scale, 6e4))
                store[f"{name}_{layer}_scale"] = np.float64(scale)
                store[f"{name}_{layer}_se"] = np.float64(error / scale)
            store[f"{name}_mask"] = mask
            noises = [100 * store[f"{name}_{layer}_se"] for layer in ("paper", "foil")]
            print(name, f"{time.perf_counter() - began:.0f} s", *np.round(noises, 2), flush=True)
        except Exception as wrong:  # noqa: BLE001 - one bad scene must not cost the others
            print("FAILED", name, repr(wrong)[:300], flush=True)
    out = Path(os.environ["OUT"])
    out.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(out / "pictures.npz", **store)


if __name__ == "__main__":
    main()
