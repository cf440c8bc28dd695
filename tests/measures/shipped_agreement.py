"""Whether builds of the shipped rigs earn in their photographs what is predicted of them.

    PYTHONPATH=. python tests/measures/shipped_agreement.py scenes JOBS.json.gz
    python tests/reference/slipped/render.py JOBS.json.gz RENDERED            (path tracer)
    PYTHONPATH=. python tests/measures/shipped_agreement.py tell RENDERED [--keep FOLDER]

Each shipped rig is built twice with a hand's errors, rendered by the path tracer of
`../reference/pathtraced` and photographed by the camera of `../reference/slipped`; beside it the
rig as it was truly built is predicted at the exposure that the camera truly had. Each build is
photographed twice, by a plain camera and by a phone, as if the rig said so of its camera. The path
tracer's scene knows neither the stamp's edge nor the stock's unevenness, and its gratings are of
bare aluminium: both sides are of such a sheet. Sharpness is left out: pictures of 640 pixels all
fail its gate. `--pixels 2560` in both commands takes larger ones.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "pathtraced"))
sys.path.insert(0, str(Path(__file__).parent))  # the folders are no packages

from agreement import camera_of, line_of, photographed, summary
from bases import RIGS, framed, picture_size
from camera_chain import jpeg, take
from photographs import chain_of_plan, exposure_of_plan, job_of, unpack, write_jobs
from scenes import METALS
from slips import hand_built

from lightplan.advice.worth import Worth
from lightplan.rigfiles import load_rig
from lightplan.scene import Conductor

if TYPE_CHECKING:
    from collections.abc import Iterator

    from lightplan.scene import Rig
    from lightplan.scene.camera import ToneCurve

BUILDS = 2
SPP, SPP_GRATING = 512, 1024
FULL_SAMPLES_PX = 1280
"""Longest side up to which each pixel takes all samples; on larger pictures a cell of the sheet
has the more pixels."""
CURVES: tuple[ToneCurve, ...] = ("plain", "phone")
PLAIN = {"contrast": 0.0, "lift_stops": 0.0}
SMOOTHED_PX = {"paper": 1.2, "foil": 0.6}


def plain_rigs(long_side: int) -> dict[str, Rig]:
    """Return the shipped rigs as the path tracer can say them, in so many pixels."""
    found = {}
    for path in sorted(RIGS.glob("*.toml")):
        rig = load_rig(path).rig
        foil = replace(rig.sheet.foil, relief=None)
        if foil.grating is not None:
            eta, k = METALS["Al"]
            foil = replace(foil, conductor=Conductor(eta=tuple(eta), k=tuple(k)))
        paper = replace(rig.sheet.paper, waviness=None)
        plain = replace(rig, sheet=replace(rig.sheet, foil=foil, paper=paper), freedoms=())
        found[path.stem] = framed(plain, long_side)
    return found


def builds(long_side: int) -> Iterator[tuple[str, str, Rig, int]]:
    """Yield name, preset, the rig as a hand builds it, and the seed of its camera."""
    for number, (preset, rig) in enumerate(plain_rigs(long_side).items()):
        for i in range(BUILDS):
            seed = 70_000 + BUILDS * number + i
            yield f"{preset}_{i}", preset, hand_built(rig, seed), seed


def write_scenes(out: Path, long_side: int) -> None:
    """Write the jobs of all builds."""
    jobs: list[dict[str, Any]] = []
    for name, preset, rig, _ in builds(long_side):
        spp = SPP if rig.sheet.foil.grating is None else SPP_GRATING
        spp = round(spp * min(1.0, FULL_SAMPLES_PX / long_side))
        jobs.append(job_of(name, preset, rig, spp, picture_size(rig)))
        jobs[-1]["smoothed_px"] = SMOOTHED_PX
    write_jobs(jobs, out, {name: rig.sheet.artwork for name, rig in plain_rigs(long_side).items()})


def tell(rendered: Path, keep: Path, long_side: int) -> None:
    """Tell each build in a line, photographed plainly and by a phone, then shares."""
    light = {}
    for part in sorted(rendered.glob("part*.npz")):
        with np.load(part) as file:
            names = [key[: -len("_low")] for key in file.files if key.endswith("_low")]
            light |= {name: unpack(file, name) for name in names}
    keep.mkdir(parents=True, exist_ok=True)
    plans = plain_rigs(long_side)
    off: dict[str, list[float]] = {}
    for name, preset, rig, seed in builds(long_side):
        if name not in light:
            print(f"{name}: not rendered")
            continue
        for curve in CURVES:
            plan, built = (with_curve(one, curve) for one in (plans[preset], rig))
            draw = np.random.default_rng(seed)
            drawn = chain_of_plan(plan, exposure_of_plan(plan), draw)
            chain = replace(drawn, phone=curve == "phone")
            photo = keep / f"{name}_{curve}.jpg"
            photo.write_bytes(jpeg(take(light[name], chain, draw), chain))
            worth, seen = Worth(plan), photographed(photo, plan)
            predicted = worth.judged(built, camera_of(chain, plan))
            if predicted.score is None or seen is None or seen.score is None:
                print(f"{name}, {curve}: not judged")
                continue
            higher = seen.score - predicted.score
            print(line_of(f"{name}, {curve}", predicted, seen), flush=True)
            off.setdefault(curve, []).append(higher)
            if rig.camera.lifts_tones == chain.phone:
                off.setdefault("as its rig says", []).append(higher)
            if chain.phone:
                plainly = worth.score(built, replace(camera_of(chain, plan), **PLAIN))
                off.setdefault("phone, predicted plain", []).append(seen.score - plainly)
    for curve, all_of in off.items():
        print(f"{curve}:", summary(all_of))


def with_curve(rig: Rig, curve: ToneCurve) -> Rig:
    """Return a rig whose camera shows tones by a curve."""
    return replace(rig, camera=replace(rig.camera, tone_curve=curve))


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("what", choices=["scenes", "tell"])
    options.add_argument("place", type=Path)
    options.add_argument("--keep", type=Path, help="folder for the photographs")
    options.add_argument("--pixels", type=int, default=640, help="of the longer side")
    told = options.parse_args()
    if told.what == "scenes":
        write_scenes(told.place, told.pixels)
    else:
        with tempfile.TemporaryDirectory() as scratch:
            tell(told.place, told.keep or Path(scratch), told.pixels)


if __name__ == "__main__":
    main()
