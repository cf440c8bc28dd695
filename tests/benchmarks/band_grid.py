"""A band on a plant tag of 40 mm against all of a grid.

    PYTHONPATH=. python tests/benchmarks/band_grid.py [--draw 211 --number 2] [--side 11]
        [--lights 120]

The tag, its artwork and its camera are those of a product that is drawn in `cupboards.py`. The
lamp that the foil mirrors may go so far along x, y and z; every point of a grid is judged in the
light of the search, then the search begins at the middle, or with closed forms as a plan does, and
has so many lights of its own. Bands on such tags are the hard case: what is measured of them is a
motif 16 mm across, and most of the box is flat.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))

from cupboards import by_hand, drawn

from lightplan.merit.bench import Bench
from lightplan.merit.engine_model import EngineModel, long_side_for, search_detail
from lightplan.planning.choosing import share_of
from lightplan.planning.cupboard import cupboard_of
from lightplan.planning.effort import SearchJob
from lightplan.planning.exploring import Search, searched
from lightplan.planning.poses import moved, poses
from lightplan.tasks.owned import owned_items

if TYPE_CHECKING:
    from lightplan.scene import Rig

PLACES = ("x_mm", "y_mm", "z_mm")


def problem(number: int, draw: int) -> Rig:
    """Return the tag under the lamp that it mirrors, which may go along three ways."""
    loaded, _ = drawn(number, draw)
    rig = moved(loaded.rig, next(iter(poses(loaded.rig))))
    had = cupboard_of(rig, owned_items(loaded))
    found = dict(by_hand(had))["lamp in the mirror direction"]
    lamp = found.lamps[0]
    ways = [f for f in found.freedoms if f.element == lamp.name and f.dimension in PLACES]
    return replace(found, lamps=(lamp,), cards=(), freedoms=tuple(ways))


def main() -> None:
    """Judge the grid, search, and print both."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--draw", type=int, default=211)
    parser.add_argument("--number", type=int, default=2)
    parser.add_argument("--side", type=int, default=11)
    parser.add_argument("--lights", type=int, default=120, help="of each search")
    options = parser.parse_args()
    rig = problem(options.number, options.draw)
    detail = search_detail(rig, long_side_for(rig))
    bench = Bench(rig, EngineModel(rig, detail))
    began = time.process_time()
    line = np.linspace(0.0, 1.0, options.side)
    values = {p: bench.value(np.array(p)) for p in itertools.product(line, repeat=len(PLACES))}
    best = min(values, key=values.__getitem__)
    print(f"{rig.title}: {len(values)} points, {time.process_time() - began:.0f} s")
    print(f"grid: {100 * share_of(values[best]):.2f} at {tuple(map(float, best))}")
    share = np.mean([value <= values[best] + 0.01 for value in values.values()])
    print(f"within 1 % of that: {100 * share:.2f} % of the points")
    for seed, begin_at in itertools.product(range(3), ((rig,), None)):
        job = SearchJob.of(seed)
        found = searched(
            Search(
                rig=rig, detail=detail, evaluations=options.lights, seed=seed, begin_at=begin_at,
                spread=True, seconds=None, tolerance=job.effort.tolerance,
            ),
            job.should_stop,
        )  # fmt: skip
        assert found is not None
        told = found.explored.found
        score = 100 * share_of(told.value)
        where = np.round(told.point[: len(PLACES)], 2).tolist()
        begun = "closed forms" if begin_at is None else "the middle"
        print(
            f"search from {begun}, seed {seed}: {score:.2f} after {told.evaluations} lights,"
            f" at {where}"
        )


if __name__ == "__main__":
    main()
