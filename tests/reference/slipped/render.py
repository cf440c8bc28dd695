"""Render scenes with the path tracer, whole frame, the artwork laid over paper and foil.

    python tests/reference/slipped/render.py JOBS.json.gz FOLDER
    python tests/reference/slipped/render.py --serve QUEUE

The picture is kept as the square root of light in 10 bits, high and low bytes apart. The second
form renders each NAME.json.gz that appears in QUEUE to NAME.npz, until a file STOP lies there;
several may serve one queue.
"""

from __future__ import annotations

import gzip
import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter

sys.path.insert(0, str(Path(__file__).parents[1] / "pathtraced"))
sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages

import mitsuba_scene
import render as pathtraced

# Grain of the path tracer is smoothed by less than a lens blurs: light on paper is soft.
SMOOTHED_PX = {"paper": 1.2, "foil": 0.6}
FINE = 4  # sub-pixels each way at which the artwork is read
AT_ONCE = 60e6  # samples


def composed(mi: Any, job: dict[str, Any], art: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    scene, spp = job["scene"], job["spp"]
    rows, cols = scene["camera"]["height"], scene["camera"]["width"]
    layers = {}
    for layer in ("paper", "foil"):
        built = mitsuba_scene.build(mi, scene, layer)
        view = pathtraced.sensor(mi, scene["camera"], pathtraced.Crop(0, 0, cols, rows))
        draw = pathtraced.renderer(mi, built, view)
        each = max(1, min(spp, int(AT_ONCE // (rows * cols))))
        count = -(-spp // each)
        layers[layer] = sum(draw(100 + i, each) for i in range(count)) / count
    places = ((np.arange(n * FINE) + 0.5) / FINE for n in (rows, cols))
    grid = np.meshgrid(*places, indexing="ij")
    hit, xyz = pathtraced.first_hits(mi, built, scene, *grid)
    wide, high = job["sheet_mm"]
    down, across = art.shape
    col = ((xyz[..., 0] * 1000 / wide + 0.5) * across).astype(int).clip(0, across - 1)
    row = ((0.5 - xyz[..., 1] * 1000 / high) * down).astype(int).clip(0, down - 1)
    share = np.where(hit, art[row, col] / 255.0, 0.0).reshape(rows, FINE, cols, FINE).mean((1, 3))
    on_sheet = hit.reshape(rows, FINE, cols, FINE).mean((1, 3)) >= 0.5
    widths = SMOOTHED_PX | job.get("smoothed_px", {})
    layers = {name: smoothed(light, on_sheet, widths[name]) for name, light in layers.items()}
    return layers["paper"] + share[..., None] * (layers["foil"] - layers["paper"])


def smoothed(light: Any, on_sheet: Any, size_px: float) -> Any:
    """Return light smoothed on the sheet and beside it, never across its edge.

    A pixel that the path tracer lost (a grating has some) is what is round it.
    """
    found, there = np.zeros_like(light), np.isfinite(light).all(axis=-1)
    known = np.where(there[..., None], light, 0.0)
    for part in (on_sheet, ~on_sheet):
        weight = gaussian_filter((part & there).astype(float), size_px)
        for channel in range(3):
            summed = gaussian_filter(known[..., channel] * part, size_px)
            found[..., channel] += part * summed / np.maximum(weight, 1e-9)
    return found


def read(source: Path) -> tuple[list[dict[str, Any]], dict[str, np.ndarray[Any, Any]]]:
    """Return the jobs of a file, and the artworks that they name."""
    with gzip.open(source, "rt") as file:
        told = json.load(file)
    art = {
        name: np.frombuffer(bytes.fromhex(one["hex"]), np.uint8).reshape(one["shape"])
        for name, one in told["artwork"].items()
    }
    return told["jobs"], art


def packed(name: str, picture: np.ndarray[Any, Any]) -> dict[str, Any]:
    """Return a picture as it is kept."""
    scale = float(np.percentile(picture, 99.95)) * 1.2 + 1e-9
    code = np.rint(1023 * np.sqrt(np.clip(picture / scale, 0, 1))).astype(np.uint16)
    return {
        f"{name}_low": np.uint8(code & 255),
        f"{name}_high": np.uint8(code >> 8),
        f"{name}_scale": np.float64(scale),
    }


def serve(queue: Path) -> None:
    """Render what appears in a queue; a job is claimed by giving its file another name."""
    mi = mitsuba_scene.start(os.environ.get("VARIANT"))
    while not (queue / "STOP").exists():
        waiting = sorted(queue.glob("*.json.gz"), key=lambda path: path.stat().st_mtime)
        if not waiting:
            time.sleep(0.1)
            continue
        mine = waiting[0].with_suffix(f".claimed{os.getpid()}")
        try:
            waiting[0].rename(mine)
        except FileNotFoundError:
            continue  # another was faster
        jobs, art = read(mine)
        began = time.time()
        for job in jobs:
            try:
                made = packed(job["name"], composed(mi, job, art[job["base"]]))
            except Exception as wrong:  # noqa: BLE001 - one bad scene must not cost the others
                print("FAILED", job["name"], repr(wrong)[-400:], flush=True)
                made = {}
            np.savez(queue / f"{job['name']}.part.npz", **made)
            (queue / f"{job['name']}.part.npz").rename(queue / f"{job['name']}.npz")
            print(job["name"], f"{time.time() - began:.1f} s", flush=True)
        mine.unlink()


def main() -> None:
    if sys.argv[1] == "--serve":
        serve(Path(sys.argv[2]))
        return
    folder = Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    jobs, art = read(Path(sys.argv[1]))
    mi = mitsuba_scene.start(os.environ.get("VARIANT"))
    began, limit = time.time(), float(os.environ.get("LIMIT", "100000"))
    kept: dict[str, Any] = {}
    parts = 0
    for number, job in enumerate(jobs):
        if time.time() - began > limit:
            print("time is up at", job["name"])
            break
        try:
            picture = composed(mi, job, art[job["base"]])
        except Exception as wrong:  # noqa: BLE001 - one bad scene must not cost the others
            print("FAILED", job["name"], repr(wrong)[-400:], flush=True)
            continue
        kept |= packed(job["name"], picture)
        if sum(a.nbytes for a in kept.values()) > 32e6:
            np.savez_compressed(folder / f"part{parts}.npz", **kept)
            print(number, f"{time.time() - began:.0f} s", flush=True)
            kept, parts = {}, parts + 1
    if kept:
        np.savez_compressed(folder / f"part{parts}.npz", **kept)
    print(f"{number + 1} scenes, {time.time() - began:.0f} s")


if __name__ == "__main__":
    main()
