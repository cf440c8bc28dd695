"""A plan from a bare cupboard, held against a search many times longer.

    PYTHONPATH=. python tests/benchmarks/longer_search.py [--helpers 15] [--times 50] [--seed 0]
        [--look "bright field"] [--foil "silver foil"] [--until SECONDS]

The cupboard is that of the aim: two lamps, three boards, tissue and a window, for a card with a
large motif in metal. It is planned with the usual effort, then with an effort of so many times the
lights: four times as many arrangements are searched, each for longer, and the last steps may be so
many more. Both are given with the seconds by the clock, of all processors, and the lights of their
searches, and held against each other by what they are told to score and by what their builds score
in the mean, which is what decides in the end.
`--until` ends the longer search so many seconds after its begin, with the best so far.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.planning.all_looks import with_look
from lightplan.planning.effort import effort_for
from lightplan.planning.heats import evaluations_of
from lightplan.planning.result import Plan
from lightplan.process import usable_cores
from lightplan.tasks.plan import plan
from lightplan.tasks.start_rig import start_rig

if TYPE_CHECKING:
    from lightplan.planning.effort import Effort, SearchProgress
    from lightplan.rigfiles import LoadedRig

CUPBOARD = {
    "goods": "card",
    "stock": "white",
    "lamps": [{"kind": "softbox"}, {"kind": "desk"}, {"kind": "window"}],
    "cards": {"white A4": 1, "white A3": 1, "white A2": 1, "tissue": 1},
}
MORE_ARRANGEMENTS = 4
WITHIN = 0.01
"""Share of the longer search's score that the usual plan may lack."""


def bare_cupboard(look: str, foil: str) -> LoadedRig:
    """Return the rig that `start` writes for the cupboard of the aim."""
    with tempfile.TemporaryDirectory() as place:
        loaded = start_rig(CUPBOARD | {"foil": foil}, Path(place) / "r.toml")
    return replace(loaded, rig=with_look(loaded.rig, look))  # type: ignore[arg-type]


def longer(effort: Effort, times: float) -> Effort:
    """Return an effort of so many times the lights, over more arrangements.

    >>> usual = effort_for(bare_cupboard("bright field", "silver foil").rig)
    >>> round(evaluations_of(longer(usual, 50.0)) / evaluations_of(usual), 1)
    50.0
    """
    more = replace(
        effort,
        searched=MORE_ARRANGEMENTS * effort.searched,
        polish=round(times * effort.polish),
        is_quick=False,
        tolerance=effort.tolerance / 4.0,
    )
    lights = times * evaluations_of(effort)
    return replace(more, evaluations=round(effort.evaluations * lights / evaluations_of(more)))


def timed(loaded: LoadedRig, effort: Effort, seed: int, until: float) -> tuple[float, float]:
    """Plan and print what came of it; return its score, and that of its builds in the mean."""
    began, used = time.monotonic(), _processors_s()

    def tell(progress: SearchProgress) -> None:
        took = time.monotonic() - began
        print(f"  {took:6.0f} s  {progress.stage}: {progress.score:.1f}", flush=True)

    found = plan(
        loaded,
        seed=seed,
        effort=effort,
        progress=tell,
        should_stop=lambda: time.monotonic() > began + until,
    )
    if not isinstance(found, Plan):
        raise SystemExit(found.reason)
    score = 0.0 if found.score is None else found.score
    print(
        f"{score:.2f} after {time.monotonic() - began:.1f} s by the clock,"
        f" {_processors_s() - used:.1f} s of processors, {found.evaluations} lights"
        f" ({found.stopped_because}), builds {found.robustness.mean_score:.2f} in the mean,"
        f" {100 * found.yield_share:.0f} % good: {found.arrangement}",
        flush=True,
    )
    return score, found.robustness.mean_score


def _processors_s() -> float:
    """Return the processor time of this process and of all helpers that have ended, in s."""
    return sum(os.times()[:4])


def main() -> None:
    """Plan twice and compare."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--helpers", type=int, default=max(0, usable_cores() - 1))
    parser.add_argument("--times", type=float, default=50.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--look", default="bright field")
    parser.add_argument("--foil", default="silver foil")
    parser.add_argument("--until", type=float, default=1e9, metavar="SECONDS")
    options = parser.parse_args()
    loaded = bare_cupboard(options.look, options.foil)
    usual = effort_for(loaded.rig, helpers=options.helpers)
    print(f"{options.look}, {options.foil}, seed {options.seed}, {options.helpers} helpers")
    one = timed(loaded, usual, options.seed, 1e9)
    if options.times <= 1:
        return
    other = timed(loaded, longer(usual, options.times), options.seed, options.until)
    for what, mine, longest in zip(("told", "mean of builds"), one, other, strict=True):
        within = "within" if mine >= (1 - WITHIN) * longest else "not within"
        print(f"{what} {mine:.2f}, {options.times:.0f} times longer {longest:.2f}: {within} 1 %")


if __name__ == "__main__":
    main()
