"""One look at an arrangement: moved until it can be built, under one light, powers fitted."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.merit.bench import Bench
from lightplan.search.multistart import FIRST_RADIUS

if TYPE_CHECKING:
    from lightplan.merit.engine_model import EngineModel
    from lightplan.scene import Rig

WORST = 60.0
POWER_DIGITS, VALUE_DIGITS = 3, 6
"""Of stops, and of values. Lights agree only to rounding between processes: what follows from one
look must be the same whoever took it."""


def screen(rig: Rig, model: EngineModel) -> tuple[float, Rig | None]:
    """Return the value of one arrangement, and it as it can be built; None where it cannot."""
    try:
        bench = Bench(rig, model)
        stand = bench.begin(bench.point_of(rig), FIRST_RADIUS)
    except RigError:
        return WORST, None
    if stand is None:
        return WORST, None
    return round(stand.value, VALUE_DIGITS), _plainly(bench.rig_at(stand.point))


def _plainly(rig: Rig) -> Rig:
    lamps = [replace(x, trim_stops=round(x.trim_stops, POWER_DIGITS)) for x in rig.lamps]
    return replace(rig, lamps=tuple(lamps))
