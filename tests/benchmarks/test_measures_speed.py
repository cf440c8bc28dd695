"""Cost of a judged picture, as a ratio to a named operation in the same run.

The yardstick is `skimage.color.rgb2lab` of the same 120 x 90 picture: one colour conversion.
A search measures thousands of pictures; all measures, the score and the merit of one may
cost at most as much as 13 of them (4 ms where one conversion takes 0.32 ms). Light samples
come in lists; their yardstick is the same list, one by one.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np
from skimage.color import rgb2lab

from lightplan.measures import SheetMaps, judge, measure, merit
from lightplan.measures.samples import Sampler
from lightplan.scene.look import Look

if TYPE_CHECKING:
    from collections.abc import Callable

LARGEST_RATIO = 13.0
LARGEST_SHARE = 0.35
"""Of 16 measured together; quiet runs give about 0.2."""


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


def test_many_pictures_at_once_cost_a_part_of_one_by_one():
    maps, look = picture(90, 120), Look()
    sampler = Sampler.of(maps.grid)
    light = 2.0 ** np.random.default_rng(6).uniform(-1.0, 0.5, (16, 1, 1))
    samples = (light * sampler.sample(np.asarray(maps.linear))).astype(np.float32)

    def together() -> None:
        sampler.measure_each(samples, look, "gold foil", judged_only=True)

    def apart() -> None:
        for one in samples:
            sampler.measure(one, look, "gold foil", judged_only=True)

    # In turns, for the clock of a shared machine changes from second to second.
    turns = [(fastest(together, rounds=5), fastest(apart, rounds=1)) for _ in range(8)]
    many, single = np.min(turns, axis=0)
    print(f"16 at once: {many / single:.2f} of one by one, {16 * many / single:.1f} x a single one")
    assert many < LARGEST_SHARE * single
