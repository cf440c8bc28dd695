"""One look at an arrangement: moved until it can be built, under one light, powers fitted."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.merit.bench import Bench
from lightplan.search.multistart import FIRST_RADIUS

if TYPE_CHECKING:
    from lightplan.merit.engine_model import EngineModel
    from lightplan.scene import Rig

WORST = 60.0


def screen(rig: Rig, model: EngineModel) -> tuple[float, Rig | None]:
    """Return the value of one arrangement, and it as it can be built; None where it cannot."""
    try:
        bench = Bench(rig, model)
        stand = bench.begin(bench.point_of(rig), FIRST_RADIUS)
    except RigError:
        return WORST, None
    return (WORST, None) if stand is None else (stand.value, bench.rig_at(stand.point))
