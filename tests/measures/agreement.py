"""Whether a build's prediction and its photograph earn the same: scores, and what parts them.

    PYTHONPATH=. python tests/measures/agreement.py PHOTOGRAPHS [--all]

The photographs are those of `tests/reference/slipped` (path traced, another camera's chain).
Each is judged as a maker's photograph is; beside it the rig as it was truly built is predicted
at the exposure that the camera truly had, with the tone curve that the plan takes its camera to
have. Told for builds without a slip; `--all` takes the
slipped too, but for light from outside. Sharpness is left out: pictures this small all fail its
gate.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from scipy.stats import spearmanr

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "planned"))

from bases import base_rig
from photographs import chain_of, read_builds, rig_as_built

from lightplan.advice.worth import CameraAsSet, Worth
from lightplan.errors import BlackFrame
from lightplan.measures import Judgement, Measures, judge
from lightplan.shots.pipeline import look_at
from lightplan.tasks.photographed import context_of

if TYPE_CHECKING:
    from camera_chain import Chain

    from lightplan.scene import Rig


def photographed(photo: Path, plan: Rig) -> Judgement | None:
    """Return the verdict on a photograph; None where it is black or its sheet was not found."""
    try:
        pairs = look_at(photo, context_of(plan)).score.measures
    except BlackFrame:
        return None
    if not pairs:
        return None
    kept = {n: v for n, v in pairs.items() if not n.startswith("sharpness")}
    return judge(Measures(kept), plan.look)


def main() -> None:
    """Tell each build in a line, then the share within three points."""
    options = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    options.add_argument("photographs", type=Path)
    options.add_argument("--all", action="store_true")
    options.add_argument("--only", default="")
    told = options.parse_args()
    both, worths = [], {}
    for build in read_builds("builds.json"):
        photo = told.photographs / f"{build.name}.jpg"
        if not photo.exists() or not build.name.startswith(told.only):
            continue
        if (build.slips and not told.all) or any(s.kind == "foreign" for s in build.slips):
            continue
        plan, chain = base_rig(build.base), chain_of(build)[0]
        worth = worths.setdefault(build.base, Worth(plan))
        predicted = worth.judged(rig_as_built(build), camera_of(chain, plan))
        seen = photographed(photo, plan)
        if predicted.score is None or seen is None or seen.score is None:
            print(f"{build.name}: not judged")
            continue
        both.append((predicted.score, seen.score))
        print(line_of(build.name, predicted, seen), flush=True)
    before, after = np.array(both).T
    rank = spearmanr(before, after).statistic
    print(f"{summary(list(after - before))}, rank correlation {rank:.3f}")


def camera_of(chain: Chain, plan: Rig) -> CameraAsSet:
    """Return the exposure and white balance that a camera truly had, and the plan's tone curve."""
    half = chain.balance_stops / 2
    contrast, lift = plan.camera.tones
    return CameraAsSet(
        clip_cd_m2=chain.clip_cd_m2,
        stops=chain.stops,
        red_stops=half,
        blue_stops=-half,
        contrast=contrast,
        lift_stops=lift,
    )


def line_of(name: str, predicted: Judgement, seen: Judgement) -> str:
    """Return both scores of a build and the parts and gates that part them most, as a line."""
    parts = {p.name: p for p in predicted.parts}
    apart = sorted(
        ((p.points - parts[p.name].points, p.name) for p in seen.parts if p.name in parts),
        key=lambda pair: -abs(pair[0]),
    )[:3]
    gates = {g.name: g.factor for g in predicted.gates}
    apart += [
        (100 * (g.factor - gates[g.name]), f"gate {g.name}")
        for g in seen.gates
        if abs(g.factor - gates.get(g.name, g.factor)) > 0.01
    ]
    before, after = (np.nan if j.score is None else j.score for j in (predicted, seen))
    return (
        f"{name}: predicted {before:.1f}, photographed {after:.1f} "
        f"({after - before:+.1f}); {', '.join(f'{n} {d:+.1f}' for d, n in apart)}"
    )


def summary(off: list[float]) -> str:
    """Return the figures of all builds, by how much each photograph scores higher."""
    return (
        f"{len(off)} builds: within 3 points {np.mean(np.abs(off) <= 3):.0%}, "
        f"median {np.median(np.abs(off)):.1f}, worst {np.max(np.abs(off)):.1f}"
    )


if __name__ == "__main__":
    main()
