"""How long Mitsuba 3 takes to 1 % error on the scenes with bounced light.

    python tests/benchmarks/mitsuba_time.py [--columns 96] [--rows 72] [--whole-frame] [SCENE...]

prints one JSON object. The error is the root mean square over the sheet of the standard error
divided by the mean. The samples per pixel are found from the variance of a small picture,
n = variance / (0.01 mean)^2; then rendering with so many is timed, after a first run that
compiles and warms up. Loading the scene and compiling are not in the time.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "pathtraced"))

import render
from mitsuba_scene import build, start

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

SCENES = ("s03_bounce_card", "s09_white_v", "full_rig")
LAYERS = ("paper", "foil")
PILOT_SPP = 64
PILOT_SEEDS = 8
SAMPLES_AT_ONCE = 4_000_000


@dataclass(frozen=True)
class Timing:
    """Mitsuba's time to an error.

    Parameters
    ----------
    pixels : int
        Rendered pixels: the sheet's bounding box, or the whole frame.
    spp : int
        Samples per pixel that give the error.
    seconds : float
        Median time of a rendering. [s]
    error : float
        Measured on the timed renderings.
    """

    scene: str
    layer: str
    columns: int
    rows: int
    pixels: int
    spp: int
    seconds: float
    error: float
    variant: str


def time_to_error(
    scene_name: str,
    layer: str,
    *,
    error: float = 0.01,
    columns: int = 96,
    rows: int = 72,
    whole_frame: bool = False,
    repeats: int = 3,
) -> Timing:
    """Return the time that Mitsuba needs to the error, for one layer of one scene.

    Only the sheet's bounding box is rendered unless `whole_frame`, which favours Mitsuba.
    """
    mi = start()
    scene = render.read_scene(scene_name)
    scene["camera"] = scene["camera"] | {"width": columns, "height": rows}
    built = build(mi, scene, layer)
    mask, _ = render.covered_pixels(mi, built, scene)
    crop = render.Crop(0, 0, columns, rows) if whole_frame else render.crop_to(mask)
    inside = mask[crop.window]
    draw = render.renderer(mi, built, render.sensor(mi, scene["camera"], crop))
    draw(900, PILOT_SPP)
    pilot = render.average(draw, first_seed=1, seeds=PILOT_SEEDS, spp=PILOT_SPP)
    spp = math.ceil(PILOT_SPP * PILOT_SEEDS * (pilot.noise(inside) / error) ** 2)
    passes = math.ceil(spp * inside.size / SAMPLES_AT_ONCE)
    per_pass = math.ceil(spp / passes)
    _timed(draw, 99, passes=1, spp=per_pass)
    runs = [_timed(draw, 10_000 * (i + 1), passes=passes, spp=per_pass) for i in range(repeats)]
    pictures = np.stack([picture for picture, _ in runs])[:, inside]
    spread = math.sqrt(np.mean(np.var(pictures, axis=0, ddof=1)))
    return Timing(
        scene=scene_name,
        layer=layer,
        columns=columns,
        rows=rows,
        pixels=inside.size,
        spp=passes * per_pass,
        seconds=float(np.median([seconds for _, seconds in runs])),
        error=spread / float(pictures.mean()),
        variant=mi.variant(),
    )


def _timed(
    draw: Callable[[int, int], NDArray[np.float64]], first_seed: int, *, passes: int, spp: int
) -> tuple[NDArray[np.float64], float]:
    began = time.perf_counter()
    total = sum(draw(first_seed + i, spp) for i in range(passes))
    return total / passes, time.perf_counter() - began


def measure(**options: Any) -> list[Timing]:
    """Return the timings of all scenes and layers; the options are those of `time_to_error`."""
    scenes = options.pop("scenes", SCENES)
    return [time_to_error(s, layer, **options) for s in scenes for layer in LAYERS]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", metavar="SCENE", default=list(SCENES))
    parser.add_argument("--columns", type=int, default=96)
    parser.add_argument("--rows", type=int, default=72)
    parser.add_argument("--error", type=float, default=0.01, help="rms error over mean")
    parser.add_argument("--repeats", type=int, default=3)
    parser.add_argument("--whole-frame", action="store_true", help="not only the sheet's part")
    options = vars(parser.parse_args())
    timings = [asdict(timing) for timing in measure(**options)]
    print(json.dumps({"cores": os.cpu_count(), "timings": timings}, indent=1))


if __name__ == "__main__":
    main()
