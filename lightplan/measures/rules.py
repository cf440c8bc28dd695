"""What each look is judged by: parts with weights, and gates.

The same rules judge predicted and photographed pictures.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

from lightplan.measures.gates import GateRule, gates_for
from lightplan.measures.parts import PARTS, PartRule

if TYPE_CHECKING:
    from lightplan.scene.look import Look


@lru_cache(maxsize=256)
def parts_of(look: Look) -> tuple[PartRule, ...]:
    """Return the parts of a look; their weights add up to 100."""
    return PARTS[look.kind](look)


@lru_cache(maxsize=256)
def gates_of(look: Look) -> tuple[GateRule, ...]:
    """Return the gates of a look."""
    return gates_for(look)


@lru_cache(maxsize=256)
def judged_names(look: Look) -> frozenset[str]:
    """Return the measures on which parts and gates of a look depend."""
    parts, gates = parts_of(look), gates_of(look)
    return frozenset([*(rule.measure for rule in parts), *(rule.measure for rule in gates)])
