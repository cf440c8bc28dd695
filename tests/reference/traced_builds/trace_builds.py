"""Plans, what they promise, and the scores of fresh builds traced in full; see README.md."""

from __future__ import annotations

import hashlib
import json
import sys
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import long_side_for, polish_detail
from lightplan.planning.effort import Effort
from lightplan.planning.plan import plan
from lightplan.planning.pool import Judges
from lightplan.planning.robust import draws
from lightplan.rigfiles import load_rig
from lightplan.scene.setting_errors import SettingErrors, built, error_dimensions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.scene import Rig

ROOT = Path(__file__).parents[3]
KEPT = Path(__file__).with_name("builds.json")
ROOMS = (
    "geometry",
    "optics",
    "scene",
    "light",
    "measures",
    "merit",
    "mirror",
    "search",
    "planning",
    "rigfiles",
)
BUILDS = 200
PLANS = {
    "silver-bookplate-bright": 1.0,
    "certificate-a4-bowed": 1.0,
    "window-two-boards": 1.0,
    "gold-card-above": 2.0,
    "copper-label-gradient": 2.0,
}
"""Presets, and setting errors in units of the usual ones."""


@dataclass(frozen=True)
class Traced:
    """What a plan promises, and what its builds score."""

    good_score: float
    yield_share: float
    mean_score: float
    scores: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Planned:
    """A plan and its builds, not traced yet."""

    good_score: float
    yield_share: float
    mean_score: float
    builds: tuple[Rig, ...]
    start: Rig

    def scores(self, numbers: Sequence[int]) -> list[float]:
        """Trace some of the builds in full."""
        detail = polish_detail(self.start, long_side_for(self.start))
        with Judges(self.builds[0], detail, helpers=1) as judges:
            return [float(s) for s in judges.scores([self.builds[i] for i in numbers])]

    def traced(self) -> Traced:
        """Trace all of them."""
        scores = tuple(self.scores(range(BUILDS)))
        return Traced(self.good_score, self.yield_share, self.mean_score, scores)


def clumsy(times: float) -> SettingErrors:
    """Setting errors that are this many times the usual ones."""
    usual = SettingErrors()
    return SettingErrors(**{name: times * value for name, value in asdict(usual).items()})


def planned(preset: str) -> Planned:
    """Plan a preset quickly, and draw builds with another seed than the plan's own."""
    rig, errors = load_rig(ROOT / "rigs" / f"{preset}.toml").rig, clumsy(PLANS[preset])
    effort = Effort(evaluations=12, polish=0, builds=256, helpers=1)
    found = plan(rig, seed=0, effort=effort, errors=errors)
    dimensions = error_dimensions(found.rig, errors)
    builds = tuple(
        built(found.rig, dimensions, row) for row in draws(dimensions, BUILDS, seed=20_000)
    )
    promise = found.robustness
    return Planned(promise.good_score, promise.yield_share, promise.mean_score, builds, rig)


@lru_cache(maxsize=1)
def digest() -> str:
    """Return the mark of everything that the numbers come from."""
    paths = [p for room in ROOMS for p in (ROOT / "lightplan" / room).rglob("*.py")]
    paths += [Path(__file__), *(ROOT / "rigs").rglob("*.toml"), *(ROOT / "rigs").rglob("*.png")]
    mark = hashlib.sha256()
    for path in sorted(paths):
        mark.update(path.relative_to(ROOT).as_posix().encode() + b"\0" + path.read_bytes() + b"\0")
    return mark.hexdigest()


def kept() -> dict[str, Traced] | None:
    """Return what is kept; None where it comes from other code than there is now."""
    document = json.loads(KEPT.read_text("utf-8")) if KEPT.exists() else {}
    if document.get("digest") != digest():
        return None
    return {
        name: Traced(**one | {"scores": tuple(one["scores"])})
        for name, one in document["plans"].items()
    }


def main() -> None:
    """Trace all builds and keep them."""
    traced = {}
    for preset in PLANS:
        traced[preset] = asdict(planned(preset).traced())
        print(preset, f"{traced[preset]['yield_share']:.3f}", file=sys.stderr)
    KEPT.write_text(json.dumps({"digest": digest(), "plans": traced}) + "\n", "utf-8")


if __name__ == "__main__":
    main()
