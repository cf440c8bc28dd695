"""About how long a plan takes on this computer, from the first lights and from how far it came."""

from __future__ import annotations

import math
import time
from typing import TYPE_CHECKING

from lightplan.merit.engine_model import EngineModel, long_side_for, search_detail
from lightplan.planning.heats import evaluations_of
from lightplan.process import usable_cores
from lightplan.scene.edits import Set, edited

if TYPE_CHECKING:
    from lightplan.planning.effort import Effort
    from lightplan.scene import Rig

JUDGING_S = 0.03
"""Processor time of each evaluation beside its light: models, powers, tolerances. Of products of
`tests/benchmarks/cupboards.py` planned by one process: 29 and 45 s for some 540 evaluations, with
lights of 0.042 and 0.046 s, told as 41 and 44 s; one that finds its best early ends sooner."""
BUSY_FROM = 1.5
"""The clock runs so much faster than the processor's time where others use it too."""
_NUDGE_MM = 3.0


def expected(rig: Rig, effort: Effort) -> str:
    """Return about how long a plan takes, to be told before it begins.

    Two lights of the search are traced, the second is timed: the first also loads and compiles.
    """
    used_s, clock_s = light_time_s(rig)
    busy = clock_s / max(used_s, 1e-6)
    cores = min(usable_cores(), 1 + effort.helpers)
    seconds = evaluations_of(effort) * (JUDGING_S + used_s) * max(busy, 1.0) / cores
    told = f"planning, about {rough_time(seconds)} as fast as the first pictures came"
    return told + (" (the computer is busy with other things)" if busy > BUSY_FROM else "")


def light_time_s(rig: Rig) -> tuple[float, float]:
    """Return how long one light of a search takes, in s: the processor's time, the clock's."""
    model = EngineModel(rig, search_detail(rig, long_side_for(rig)))
    model.lamp_light(rig)
    x = rig.camera.placement.position_mm[0]
    moved = edited(rig, Set("camera", "x_mm", x + _NUDGE_MM))
    used, clock = time.process_time(), time.perf_counter()
    model.lamp_light(moved)
    return time.process_time() - used, time.perf_counter() - clock


LEAST_SHARE = 0.05
"""Of a stage: before so much is done, its first steps tell of their own start more than of it."""


class TimeLeft:
    """Tells how long a search still takes, by how long it took until now."""

    def __init__(self) -> None:
        self._begun: tuple[float, int] | None = None
        self._last = 0, 0

    def words(self, done: int, of: int, *, now: float | None = None) -> str:
        """Return ", about 20 seconds left", or "" where nothing can be told yet."""
        now = time.monotonic() if now is None else now
        last, self._last = self._last, (done, of)
        if self._begun is None or done < last[0] or of != last[1]:  # the next stage
            self._begun = (now, done)
            return ""
        since, before = self._begun
        if done - before < LEAST_SHARE * of or done >= of:
            return ""
        return f", about {rough_time((of - done) * (now - since) / (done - before))} left"


def rough_time(seconds: float) -> str:
    """Return a time that is not known better than to a third.

    >>> rough_time(3.2), rough_time(23.0), rough_time(100.0), rough_time(700.0)
    ('5 seconds', '25 seconds', '2 minutes', '12 minutes')
    """
    if seconds < 90:
        return f"{max(5, 5 * math.ceil(seconds / 5))} seconds"
    return f"{math.ceil(seconds / 60)} minutes"
