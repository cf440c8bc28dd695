"""Print the planner's figures as Markdown: 2 lamps and 3 cards.

    PYTHONPATH=. python tests/benchmarks/plan_report.py [--long 100] [--seeds 3] [--helpers 1]

- the closed-form start (aim: under 0.2 s),
- a plan with tolerances at the usual effort (aim: under 10 s on two quiet cores),
- its score against a search with `--long` times as many evaluations (aim: within 1 %),
- scipy's differential evolution on the same objective: evaluations and time until it reaches
  what our search reaches (one process each).
"""

from __future__ import annotations

import argparse
import contextlib
import os
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from scipy.optimize import differential_evolution

from lightplan.planning.effort import Effort
from lightplan.planning.judging_pool import Judges
from lightplan.planning.planner import plan
from lightplan.planning.starts import starts
from lightplan.scene import (
    Camera,
    Card,
    Flatness,
    Foil,
    Freedom,
    Lamp,
    Output,
    Placement,
    Rig,
    Room,
    Sheet,
    Side,
)
from lightplan.scene.dimensions import Space
from lightplan.search.minimise import StopRule
from lightplan.search.multistart import explore

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

VALUE_TOLERANCE = 1e-3  # share of the score that is no difference


def artwork() -> np.ndarray:
    """Foil of an invented bookplate: a frame and a bar."""
    art = np.zeros((80, 120))
    art[6:74, 6:114] = 1.0
    art[12:68, 12:108] = 0.0
    art[30:50, 25:95] = 1.0
    return art


def two_lamps_three_cards() -> Rig:
    """Return a bookplate: a lamp for the card over it, one for the paper, two cards more."""
    black = Side(finish="black", reflectance=(0.04, 0.04, 0.04))

    def may(element: str, dimension: str, low: float, high: float) -> Freedom:
        return Freedom(element=element, dimension=dimension, low=low, high=high)  # type: ignore[arg-type]

    return Rig(
        title="bookplate, two lamps and three cards",
        sheet=Sheet(
            width_mm=120, height_mm=80, artwork=artwork(), foil=Foil(kind="gold foil"),
            flatness=Flatness(bow_mm=0.2),
        ),
        camera=Camera(placement=Placement((0, -230, 450))),
        room=Room(ambient_cd_m2=(0.5, 0.5, 0.5)),
        lamps=(
            Lamp(name="key", placement=Placement((-320, 160, 150), (0, 170, 330)), width_mm=250,
                 height_mm=250, output=Output(value=2000)),
            Lamp(name="fill", placement=Placement((520, -80, 420)), width_mm=300, height_mm=300,
                 output=Output(value=2000)),
        ),
        cards=(
            Card(name="sky", placement=Placement((0, 190, 370)), width_mm=420, height_mm=297),
            Card(name="left", placement=Placement((-260, -100, 130)), width_mm=210, height_mm=148),
            Card(name="right", placement=Placement((260, 60, 130)), width_mm=210, height_mm=148,
                 front=black, back=black),
        ),
        freedoms=(
            may("sky", "y_mm", 120, 280), may("sky", "z_mm", 300, 480),
            may("left", "x_mm", -420, -180), may("right", "x_mm", 180, 420),
            may("key", "x_mm", -600, -260), may("key", "y_mm", 100, 300),
            may("fill", "x_mm", 380, 800), may("key", "trim_stops", -6, 0),
            may("fill", "trim_stops", -6, 0),
        ),
    )  # fmt: skip


def timed(action: Callable[[], object]) -> tuple[object, float, float]:
    """Return a result, its wall-clock seconds and this process's processor seconds."""
    wall, busy = time.perf_counter(), time.process_time()
    result = action()
    return result, time.perf_counter() - wall, time.process_time() - busy


def start_time(rig: Rig) -> list[list[str]]:
    """Time the closed-form start."""
    space = Space.of(rig)
    found, wall, busy = min(
        (timed(lambda: starts(rig, space)) for _ in range(5)), key=lambda t: t[1]
    )
    assert isinstance(found, list)
    return [["starts", "seconds", "processor s"], [str(len(found)), f"{wall:.4f}", f"{busy:.4f}"]]


def whole_plan(rig: Rig, helpers: int, long: int, seeds: int) -> list[list[str]]:
    """Plan at the usual effort with each seed, and once with a long search."""
    usual = Effort(helpers=helpers)
    rows = [["effort", "seed", "score", "yield", "seconds", "processor s (this process)"]]
    for seed in range(seeds):
        rows.append(_row("usual", rig, usual, seed))
    if long > 1:
        # no gain is too little to go on for: it searches to the end of its evaluations
        effort = replace(usual, evaluations=long * usual.evaluations, tolerance=-1.0)
        rows.append(_row(f"{long} x the evaluations", rig, effort, 0))
    return rows


def _row(name: str, rig: Rig, effort: Effort, seed: int) -> list[str]:
    found, wall, busy = timed(lambda: plan(rig, seed=seed, effort=effort))
    if not found:
        raise SystemExit(found.reason)
    told = f"{found.evaluations} ({found.stopped_because})"
    return [
        f"{name}: {told}",
        str(seed),
        f"{found.score:.2f}",
        f"{found.yield_share:.2f}",
        f"{wall:.1f}",
        f"{busy:.1f}",
    ]


def against_scipy(rig: Rig, seeds: int, most: int) -> list[list[str]]:
    """Run both solvers on one objective, in turns, each alone in this process."""
    usual = Effort()
    rows = [
        [
            "seed",
            "ours",
            "evaluations",
            "seconds",
            "scipy's best",
            "evaluations to ours",
            "seconds to ours",
        ]
    ]
    with Judges(rig) as judges:
        bench = judges.bench
        points = [bench.with_own_powers(p) for p in starts(rig, bench.space)]
        for seed in range(seeds):
            rule = StopRule(evaluations=usual.evaluations, tolerance=usual.tolerance)
            explored, wall, _ = timed(
                lambda s=seed, r=rule: explore(
                    judges, points, dimensions=len(bench.space.geometry), seed=s, rule=r
                )
            )
            found = explored.found
            theirs = _scipy(bench.value, bench.size, found.value, seed, most)
            rows.append(
                [
                    str(seed),
                    f"{_score(found.value):.2f}",
                    str(found.evaluations),
                    f"{wall:.1f}",
                    *theirs,
                ]
            )
    return rows


class _Reached(Exception):
    pass


def _scipy(
    value: Callable[[np.ndarray], float], size: int, goal: float, seed: int, most: int
) -> list[str]:
    """Run differential evolution until it reaches `goal`, or `most` evaluations."""
    used, best, began = 0, np.inf, time.perf_counter()

    def objective(point: np.ndarray) -> float:
        nonlocal used, best
        used += 1
        found = value(point)
        best = min(best, found)
        if best <= goal + VALUE_TOLERANCE or used >= most:
            raise _Reached
        return found

    with contextlib.suppress(_Reached):
        differential_evolution(
            objective, [(0.0, 1.0)] * size, rng=np.random.default_rng(seed), polish=False
        )
    seconds = time.perf_counter() - began
    if best <= goal + VALUE_TOLERANCE:
        return [f"{_score(best):.2f}", str(used), f"{seconds:.1f}"]
    return [f"{_score(best):.2f}", f"not in {used}", f"not in {seconds:.1f}"]


def _score(value: float) -> float:
    """Return the score that the search's value stands for."""
    return 100 * float(np.exp(-max(value, 0.0)))


def show(title: str, rows: Sequence[Sequence[str]]) -> None:
    """Print one table."""
    head, *body = rows
    print(f"\n### {title}\n\n| {' | '.join(head)} |\n|{'---|' * len(head)}")
    for row in body:
        print(f"| {' | '.join(row)} |")
    print(f"\nload average {os.getloadavg()[0]:.1f}", flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--long", type=int, default=100, help="how much longer; 1 leaves it out")
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--helpers", type=int, default=1)
    parser.add_argument("--most", type=int, default=4000, help="evaluations for scipy")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the start")
    rig = two_lamps_three_cards()
    show("Closed-form start", start_time(rig))
    show(
        "Search against scipy's differential evolution",
        against_scipy(rig, options.seeds, options.most),
    )
    show(
        "Plan with tolerances, 2 lamps and 3 cards",
        whole_plan(rig, options.helpers, options.long, options.seeds),
    )


if __name__ == "__main__":
    main()
