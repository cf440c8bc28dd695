"""Print how near the light model comes to the stored path-traced pictures, as a Markdown table.

    python tests/light/accuracy_report.py [--quick] [SCENE...]

Error: root mean square difference over the sheet, the renderer's own noise taken out, over
the mean; noise: root mean square of the renderer's standard error over the mean; seconds:
one rig from nothing to all its layers. Exit code 1 when an error is above the bound of 1 %
(not with --quick, which is made for speed).
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import math
import os
import sys
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightplan.light import Detail, Engine

if TYPE_CHECKING:
    from types import ModuleType

    from numpy.typing import NDArray

PATHTRACED = Path(__file__).parents[1] / "reference" / "pathtraced"
BOUND = 0.01
LAYERS = ("paper", "foil")


@dataclass(frozen=True)
class Agreement:
    """One scene's figures; errors and noises are shares of the mean."""

    scene: str
    paper: float
    foil: float
    paper_noise: float
    foil_noise: float
    seconds: float

    def row(self) -> str:
        """Return the row of the table."""
        shares = (self.paper, self.foil, self.paper_noise, self.foil_noise)
        figures = " | ".join(f"{100 * share:.2f}" for share in shares)
        return f"| {self.scene} | {figures} | {self.seconds:.2f} |"


def scene_builder() -> ModuleType:
    """Return the module that turns a stored scene into a rig (this folder's conftest)."""
    spec = importlib.util.spec_from_file_location(
        "stored_scenes", Path(__file__).with_name("conftest.py")
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def compare(name: str, builder: ModuleType, *, quick: bool = False) -> Agreement:
    """Return how near the model comes to one stored scene."""
    scene = json.loads((PATHTRACED / f"{name}.json").read_text("utf-8"))
    stored = np.load(PATHTRACED / f"{name}.npz")
    rig = builder.build_rig(scene)
    size = {"camera_rows": scene["camera"]["height"], "camera_cols": scene["camera"]["width"]}
    detail = Detail.quick(**size) if quick else Detail(**size)
    began = time.perf_counter()
    layers = Engine(rig, detail).layers(rig)
    seconds = time.perf_counter() - began
    seen = stored["mask"] & np.isfinite(layers.camera_paper[..., 0])
    tint = builder.tint(scene)
    found = {}
    for layer in LAYERS:
        ours = getattr(layers, f"camera_{layer}")[seen] * tint
        noise = stored[f"{layer}_se"][seen]
        reference = stored[layer][seen].astype(float)
        found[layer] = relative_error(ours, reference, noise)
        found[f"{layer}_noise"] = rms(noise) / float(reference.mean())
    return Agreement(scene=name, seconds=seconds, **found)


def relative_error(
    ours: NDArray[np.floating], reference: NDArray[np.floating], noise: NDArray[np.floating]
) -> float:
    """Return the root mean square difference over the mean, the noise taken out."""
    squared = rms(ours.astype(float) - reference) ** 2 - rms(noise) ** 2
    return math.sqrt(max(squared, 0.0)) / float(reference.mean())


def rms(values: NDArray[np.floating]) -> float:
    """Return the root mean square."""
    return float(np.sqrt(np.mean(values.astype(float) ** 2)))


def main() -> None:
    """Print the table."""
    names = sorted(path.stem for path in PATHTRACED.glob("*.json"))
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", metavar="SCENE")
    parser.add_argument("--quick", action="store_true", help="the detail of the moving picture")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores; numpy {np.__version__}")
    print()
    print("| scene | paper error, % | foil error, % | paper noise, % | foil noise, % | seconds |")
    print("|---|---|---|---|---|---|")
    builder = scene_builder()
    found = []
    for name in options.scenes or names:
        found.append(compare(name, builder, quick=options.quick))
        print(found[-1].row(), flush=True)
    worst = max(max(one.paper, one.foil) for one in found)
    print(f"\nWorst: {100 * worst:.2f} %; scenes: {len(found)}.")
    if worst > BOUND and not options.quick:
        sys.exit(1)


if __name__ == "__main__":
    main()
