"""What following the light of a rig will take of the machine, told before it is taken."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.errors import RigError
from lightplan.light.cells import cells_of
from lightplan.light.detail import Detail
from lightplan.scene.surfaces import build_surfaces

if TYPE_CHECKING:
    from lightplan.scene import Rig

# Measured: peak of processes with 2 to 20 boards and 1 to 24 lamps at full detail.
_BASE_BYTES = 350 << 20
_PAIR_BYTES = 60
_LAMP_BYTES = 20 << 20
MOST_BYTES = 1600 << 20
"""Of memory: what any machine has that can run the rest of this program."""


def memory_needed(rig: Rig, detail: Detail | None = None) -> int:
    """Return about how many bytes the light of a rig takes; it grows with cells squared."""
    wanted = Detail() if detail is None else detail
    cells = cells_of(build_surfaces(rig), wanted.cells, wanted.thin_cells)
    return _BASE_BYTES + _PAIR_BYTES * cells**2 + _LAMP_BYTES * len(rig.lamps)


def refuse_too_large(rig: Rig) -> None:
    """Refuse a rig whose light would take more memory than `MOST_BYTES`.

    Raises
    ------
    RigError
        What was counted, and what to take out.
    """
    needed = memory_needed(rig)
    if needed > MOST_BYTES:
        things = len(rig.cards) + len(rig.shells) + len(rig.props)
        raise RigError(
            field="cards, shells and props",
            wanted=f"few enough for {MOST_BYTES >> 20} MB of memory",
            got=f"{things} of them, which take about {needed >> 20} MB",
            cure="take some out, or make a mesh coarser",
        )
