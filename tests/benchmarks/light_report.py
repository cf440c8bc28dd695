"""Print the light engine's figures as Markdown.

    PYTHONPATH=. python tests/benchmarks/light_report.py [--mitsuba] [--rounds 60]

Times are wall-clock; processor time stands beside them, for machines that are busy with
other things. ``--mitsuba`` adds the path tracer's time to 1 % (minutes).
"""

from __future__ import annotations

import argparse
import dataclasses
import os
import sys
import time
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).parent))

from typing import TYPE_CHECKING

import light_bench as bench

from lightplan.light import Detail, Engine

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.scene import Rig

PIXELS = ((120, 160), (240, 320), (480, 640), (960, 1280))
LAMPS = (1, 2, 4, 8)
CELLS = (4, 7, 10, 14, 20)


def changed_cards(rounds: int) -> None:
    """Print changed card -> new 320 x 240 picture."""
    rows = [["scene", "median ms", "95 % ms", "processor ms", "fresh engine ms", "Embree / ours"]]
    for name in bench.SCENES:
        wall = 1e3 * bench.changed_card_times(name, rounds)
        busy = 1e3 * np.median(bench.changed_card_times(name, rounds // 3, clock=time.process_time))
        fresh = 1e3 * np.median(bench.fresh_times(name, 3))
        rows.append(
            [
                name,
                f"{np.median(wall):.1f}",
                f"{np.quantile(wall, 0.95):.1f}",
                f"{busy:.1f}",
                f"{fresh:.0f}",
                f"{embree_ratio(name):.1f}",
            ]
        )
    show("Changed card to new 320 x 240 picture, bounce included", rows)


def edits(rounds: int) -> None:
    """Print what each kind of edit costs, and stiff tents."""
    rows = [["scene", *bench.EDITS]]
    for name in bench.SCENES[::2]:
        found = bench.edit_times(name, rounds, time.process_time)
        rows.append([name, *(f"{1e3 * found[edit]:.1f}" for edit in bench.EDITS)])
    show("Edit to new 320 x 240 picture (processor ms)", rows)
    rows = [["cells", "seconds"]]
    for cells in (10, 16, 24):
        count, spent = bench.tent_times(cells, time.process_time)
        rows.append([str(count), f"{spent:.1f}"])
    show("A closed white tent, from nothing (processor)", rows)


def embree_ratio(name: str) -> float:
    """Return Embree's time over ours for the same bundle of 40,000 foil rays."""
    bundle = bench.Bundle(name)
    ours, theirs = (
        min(bench.seconds(action, time.process_time) for _ in range(7))
        for action in (bundle.ours, bundle.theirs)
    )
    return theirs / ours


def curves() -> None:
    """Print cost against pixels, lamps and cells (processor time of a changed card)."""
    name = "full_rig"
    rows = [["pixels", "ms"]]
    for height, width in PIXELS:
        detail = Detail.quick(camera_rows=height, camera_cols=width)
        rows.append([f"{height * width}", f"{_median(name, detail):.1f}"])
    show("Cost against pixels (full rig)", rows)
    rows = [["lamps", "ms"]]
    for count in LAMPS:
        rows.append([str(count), f"{_lamps(count):.1f}"])
    show("Cost against lamps (bounce card scene, the card moved)", rows)
    rows = [["cells along a card", "cells in all", "ms"]]
    for side in CELLS:
        detail = dataclasses.replace(Detail.quick(), cells=side)
        count = bench.cell_count(bench.scene_rig(name), detail)
        rows.append([str(side), str(count), f"{_median(name, detail):.1f}"])
    show("Cost against cells (full rig)", rows)


def _median(name: str, detail: Detail, rounds: int = 9) -> float:
    times = bench.changed_card_times(name, rounds, detail, time.process_time)
    return 1e3 * float(np.median(times))


def _lamps(count: int) -> float:
    rig = with_lamps(bench.scene_rig("s03_bounce_card"), count)
    engine, share = Engine(rig, Detail.quick()), bench.foil_pattern()
    times = []
    for step in range(9):
        moved = bench.with_moved_card(rig, step)
        times.append(bench.seconds(lambda r=moved: engine.picture(r, share), time.process_time))
    return 1e3 * float(np.median(times[2:]))


def with_lamps(rig: Rig, count: int) -> Rig:
    """Return the rig with copies of its first lamp in a row, none through another."""
    first, lamps = rig.lamps[0], []
    for index in range(count):
        x, y, z = first.placement.position_mm
        place = dataclasses.replace(
            first.placement, position_mm=(x, y + 1.1 * first.height_mm * index, z)
        )
        lamps.append(dataclasses.replace(first, name=f"lamp {index}", placement=place))
    return dataclasses.replace(rig, lamps=tuple(lamps))


def mitsuba() -> None:
    """Print the path tracer's time to 1 % on both layers beside ours."""
    import mitsuba_time

    rows = [["scene", "Mitsuba s", "ours ms", "ratio"]]
    for name in bench.SCENES:
        theirs = sum(
            mitsuba_time.time_to_error(name, layer, columns=320, rows=240, repeats=2).seconds
            for layer in ("paper", "foil")
        )
        ours = float(np.median(bench.changed_card_times(name, 30)))
        rows.append([name, f"{theirs:.1f}", f"{1e3 * ours:.1f}", f"{theirs / ours:.0f}"])
    show("Time to 1 % root mean square on paper and foil, 320 x 240", rows)


def show(title: str, rows: Sequence[Sequence[str]]) -> None:
    """Print one table."""
    print(f"\n### {title}\n")
    print("\n".join(bench.lines([list(row) for row in rows])), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rounds", type=int, default=60)
    parser.add_argument("--mitsuba", action="store_true")
    options = parser.parse_args()
    print(f"{os.cpu_count()} cores, load average {os.getloadavg()[0]:.1f} at the start")
    changed_cards(options.rounds)
    with threadpool_limits(1):  # threads that wait for each other count as processor time
        edits(options.rounds // 4)
    curves()
    if options.mitsuba:
        mitsuba()
    print(f"\nload average {os.getloadavg()[0]:.1f} at the end")


if __name__ == "__main__":
    main()
