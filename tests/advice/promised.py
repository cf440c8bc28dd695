"""Whether the scores that the advice promises hold: beside photographs of the plan built right.

    PYTHONPATH=. python tests/advice/promised.py look PHOTOGRAPHS design|aside KEEP.json
    PYTHONPATH=. python tests/advice/promised.py draw DESIGN.json ASIDE.json OUT.png

For each build with one slip (`tests/reference/slipped`) whose undoing is the first move: what
is promised of the photograph after it, beside photographs of the same plan without a slip, by
another hand and another camera. Sharpness is left out: pictures this small all fail its gate.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "reference" / "slipped"))
sys.path.insert(0, str(Path(__file__).parent))

from bases import base_rig
from photographs import is_aside, read_builds
from report import judged_score

from lightplan.advice.promise import promised, spread_of
from lightplan.advice.worth import Worth
from lightplan.tasks.advise import advise

if TYPE_CHECKING:
    from slips import Build

LEAST_GAIN = 1.0  # points
MOST_RIGHT = 3  # photographs of a plan without a slip


def looked_at(build: Build, photo: Path, right: list[float]) -> dict[str, Any] | None:
    """Return what is needed to judge a promise; None where the slip is not what is told first."""
    advice = advise(photo, rig=base_rig(build.base))
    move, option, state = advice.first_move, advice.option, advice.state
    if move is None or option is None or state is None or option.gain < LEAST_GAIN:
        return None
    before = judged_score(build, photo)
    if move.element != build.slips[0].element or math.isnan(before):
        return None
    worth = Worth(state.planned)
    now = worth.score(state.rig(), state.camera)
    return {
        "name": build.name,
        "move": [move.element, move.dimension],
        "gain": option.gain,
        "before": before,
        "predicted_now": now,
        "spread": spread_of(option, state, worth),
        "right": right,
    }


def look(photos: Path, which: str, keep: Path) -> None:
    """Write what the builds of a set give."""
    builds = [b for b in read_builds() if (photos / f"{b.name}.jpg").exists()]
    found: list[dict[str, Any]] = []
    right: dict[str, list[float]] = {}
    for build in builds:
        if len(build.slips) != 1 or is_aside(build) != (which == "aside"):
            continue
        if build.base not in right:
            same = [b for b in builds if b.base == build.base and not b.slips][:MOST_RIGHT]
            scores = [judged_score(b, photos / f"{b.name}.jpg") for b in same]
            right[build.base] = [score for score in scores if not math.isnan(score)]
        one = looked_at(build, photos / f"{build.name}.jpg", right[build.base])
        if one is not None:
            found.append(one)
            keep.write_text(json.dumps(found, indent=0), "utf-8")


def promises(path: Path) -> list[tuple[float, float, float]]:
    """Return (promised, one deviation, what was photographed) of each build."""
    found = []
    for one in json.loads(path.read_text("utf-8")):
        if one["right"] and one["gain"] >= LEAST_GAIN:
            foretold = one["predicted_now"] + one["gain"]
            told = promised(one["before"], foretold, gain=one["gain"], spread=one["spread"])
            found.append((*told, float(np.mean(one["right"]))))
    return found


def coverage(found: list[tuple[float, float, float]]) -> str:
    """Return in words how often promises hold."""
    away = np.array([abs(after - told) / sigma for told, sigma, after in found])
    inside, twice = np.mean(away <= 1), np.mean(away <= 2)
    return f"{len(found)} moves: {inside:.0%} within one deviation, {twice:.0%} within two"


def draw(design: Path, aside: Path, out: Path) -> None:
    """Draw promised and photographed scores of both sets."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    figure, axes = plt.subplots(1, 2, figsize=(10, 5.2), sharex=True, sharey=True)
    pairs = (("design set", design, "#1f5f8b"), ("kept aside", aside, "#b4521e"))
    for axis, (title, path, colour) in zip(axes, pairs, strict=True):
        found = promises(path)
        print(f"{title}: {coverage(found)}")
        told, sigma, after = (np.array(v) for v in zip(*found, strict=True))
        axis.plot([0, 100], [0, 100], color="#999999", linewidth=1)
        axis.errorbar(told, after, xerr=sigma, fmt="o", color=colour, elinewidth=1.2, capsize=3)
        axis.set_title(f"{title}\n{coverage(found)}", fontsize=10)
        axis.set_xlabel("promised score, one deviation each way")
        axis.set_aspect("equal")
        axis.set_xlim(-5, 100)
        axis.set_ylim(-5, 100)
        axis.grid(color="#e6e6e6")
    axes[0].set_ylabel("score of the plan photographed without the slip")
    figure.tight_layout()
    figure.savefig(out, dpi=110)


if __name__ == "__main__":
    if sys.argv[1] == "look":
        look(Path(sys.argv[2]), sys.argv[3], Path(sys.argv[4]))
    else:
        draw(*map(Path, sys.argv[2:5]))
