"""Plans, what they promise, and the scores of fresh builds traced in full; see README.md."""

from __future__ import annotations

import hashlib
import json
import sys
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from lightplan.merit.engine_model import long_side_for, polish_detail
from lightplan.planning.effort import Effort
from lightplan.planning.judging_pool import Judges
from lightplan.planning.planner import plan
from lightplan.planning.result import Plan
from lightplan.planning.robust import draws
from lightplan.rigfiles import load_rig, rig_to_toml
from lightplan.rigfiles.load import form_of, loaded_from
from lightplan.scene.setting_errors import SettingErrors, built, error_dimensions

if TYPE_CHECKING:
    from collections.abc import Iterable

    from lightplan.arrays import Doubles

ROOT = Path(__file__).parents[3]
KEPT = Path(__file__).with_name("builds.json")
BUILDS = 200
SAMPLE = range(3, BUILDS, 20)
"""Builds that are traced in every run."""
SAME = 0.05
"""Points by which a score may differ from the one that was kept: rounding on another processor."""
PROMISING = ("planning/robust.py", "scene/setting_errors.py", "search/spread.py")
EFFORT = Effort(evaluations=12, polish=0, builds=256, helpers=1)
PLANS = {
    "silver-bookplate-bright": 1.0,
    "certificate-a4-bowed": 1.0,
    "window-two-boards": 1.0,
    "gold-card-above": 2.0,
    "copper-label-gradient": 2.0,
}
"""Presets, and setting errors in units of the usual ones."""


@dataclass(frozen=True)
class Promise:
    """What is promised of a plan's builds."""

    good_score: float
    yield_share: float
    mean_score: float


@dataclass(frozen=True, eq=False)
class Kept:
    """A plan as it was kept: its rig file, the scores of its builds, what was promised.

    `promise` is None where what promises is other code now.
    """

    text: str
    scores: Doubles
    promise: Promise | None


class Builds:
    """The builds of a plan, drawn with another seed than its promise."""

    def __init__(self, preset: str, text: str) -> None:
        self._errors = clumsy(PLANS[preset])
        self._rig = loaded_from(form_of(text), ROOT / "rigs" / f"{preset}.toml").rig
        dimensions = error_dimensions(self._rig, self._errors)
        rows = draws(dimensions, BUILDS, seed=20_000)
        self._built = tuple(built(self._rig, dimensions, row) for row in rows)

    def promise(self) -> Promise:
        """Return what `plan` promises of the rig, in which nothing is left to be searched."""
        found = plan(self._rig, seed=0, effort=EFFORT, errors=self._errors)
        assert isinstance(found, Plan)
        told = found.robustness
        return Promise(told.good_score, told.yield_share, told.mean_score)

    def scores(self, numbers: Iterable[int]) -> Doubles:
        """Trace some of the builds in full, with all their errors at once."""
        detail = polish_detail(self._rig, long_side_for(self._rig))
        with Judges(self._rig, detail, helpers=1) as judges:
            return np.array(judges.scores([self._built[i] for i in numbers]), float)


def clumsy(times: float) -> SettingErrors:
    """Setting errors that are this many times the usual ones."""
    usual = SettingErrors()
    return SettingErrors(**{name: times * value for name, value in asdict(usual).items()})


def planned(preset: str) -> str:
    """Plan a preset quickly, and return the plan's rig file."""
    rig = load_rig(ROOT / "rigs" / f"{preset}.toml").rig
    found = plan(rig, seed=0, effort=EFFORT, errors=clumsy(PLANS[preset]))
    assert isinstance(found, Plan), preset
    return rig_to_toml(replace(found.rig, freedoms=()))


def digest() -> str:
    """Return the mark of the code that promises; what it is made from shows in the scores."""
    mark = hashlib.sha256()
    for name in PROMISING:
        mark.update((ROOT / "lightplan" / name).read_bytes() + b"\0")
    return mark.hexdigest()


def kept(preset: str) -> Kept | None:
    """Return a plan as it was kept; None where there is none."""
    document = json.loads(KEPT.read_text("utf-8")) if KEPT.exists() else {}
    if preset not in document:
        return None
    one = document[preset]
    promise = Promise(**one["promise"]) if one["digest"] == digest() else None
    return Kept(one["rig"], np.array(one["scores"], float), promise)


def traced(found: Builds, scores: Doubles | None) -> tuple[Doubles, bool]:
    """Return the scores of all builds, and whether those that were kept served.

    Some are traced in any case. Where one of these is another than was kept, the light or the
    judging has changed, and all are traced. The sample is kept as it comes when it is traced
    by itself: what an engine traced before moves a score a little (0.15 points in
    gold-card-above), and would have every run trace all builds anew.
    """
    fresh = found.scores(SAMPLE)
    if scores is not None and np.abs(fresh - scores[SAMPLE]).max() <= SAME:
        return scores, True
    every = np.array(found.scores(range(BUILDS)), float)
    every[SAMPLE] = fresh
    return every, False


def main() -> None:
    """Keep anew what does not serve any more; what does stays as it is, and so do plans."""
    made = json.loads(KEPT.read_text("utf-8")) if KEPT.exists() else {}
    for preset in PLANS:
        old = kept(preset)
        text = planned(preset) if old is None else old.text
        found = Builds(preset, text)
        scores, served = traced(found, None if old is None else old.scores)
        if old is not None and served and old.promise is not None:
            continue
        made[preset] = {
            "rig": text,
            "scores": [round(float(s), 3) for s in scores],
            "digest": digest(),
            "promise": asdict(found.promise()),
        }
        print(preset, made[preset], file=sys.stderr, flush=True)
        KEPT.write_text(json.dumps(made, indent=0) + "\n", "utf-8")


if __name__ == "__main__":
    main()
