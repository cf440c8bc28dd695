"""Cost of a judged picture, as a ratio to a named operation in the same run.

The yardstick is `skimage.color.rgb2lab` of the same 120 x 90 picture: one colour conversion.
A search measures thousands of pictures; all measures, the score and the merit of one may
cost at most as much as 13 of them (4 ms where one conversion takes 0.32 ms).
"""

from __future__ import annotations

import time
from collections.abc import Callable

import numpy as np
from skimage.color import rgb2lab

from lightplan.measures import SheetMaps, judge, measure, merit
from lightplan.scene.look import Look

LARGEST_RATIO = 13.0


def picture(rows: int, cols: int) -> SheetMaps:
    y, x = np.mgrid[0:rows, 0:cols] / [[[rows]], [[cols]]]
    foil = (np.hypot((5 * x) % 1 - 0.5, (4 * y) % 1 - 0.5) < 0.35).astype(np.float32)
    level = np.where(foil > 0, 0.6 * 2.0 ** (x - 0.5), 0.5 + 0.05 * y)
    noise = 1.0 + 0.01 * np.random.default_rng(5).standard_normal((rows, cols, 3))
    return SheetMaps.from_linear(level[..., None] * noise, foil, width_mm=148, height_mm=111)


def fastest(action: Callable[[], object], rounds: int = 60) -> float:
    """Return the least processor time of a call: what the machine does undisturbed."""
    best = np.inf
    for _ in range(rounds):
        start = time.thread_time()
        action()
        best = min(best, time.thread_time() - start)
    return best


def test_measures_and_score_cost_a_few_colour_conversions():
    maps, look = picture(90, 120), Look()
    assert maps.grid is not None  # the mask's own work is done once per search

    def judged() -> None:
        found = measure(maps, look, "gold foil")
        judge(found, look)
        merit(found, look)

    def fresh() -> None:
        nonlocal maps
        maps = maps.with_linear(maps.linear)

    yardstick = fastest(lambda: rgb2lab(np.asarray(maps.linear)))
    ratio = fastest(judged) / yardstick
    print(f"measure + judge + merit: {ratio:.1f} x rgb2lab ({1e3 * yardstick:.3f} ms)")
    assert ratio < LARGEST_RATIO
    assert fastest(fresh) / yardstick < 2.0


def test_cost_grows_no_faster_than_the_pixels():
    look = Look()
    small, large = picture(90, 120), picture(360, 480)
    costs = []
    for maps in (small, large):
        measure(maps, look, "gold foil")
        costs.append(fastest(lambda m=maps: measure(m, look, "gold foil"), rounds=15))
    assert costs[1] < 16.0 * costs[0]
