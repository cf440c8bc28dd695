"""What is said beside a plan: that nothing could move, and what would hang a strip."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.planning.cupboard import cupboard_of
from lightplan.planning.offers import HANGS
from lightplan.tasks.owned import owned_items

if TYPE_CHECKING:
    from lightplan.planning.result import Plan
    from lightplan.rigfiles import LoadedRig

GOOD_BAND = 95.0
"""Score of a band from which nothing is missing. Our choice."""


def left_alone_words(found: Plan) -> str:
    """Return that nothing was moved since all of it is locked; "" where anything might move."""
    rig = found.rig
    locks = [thing.locked for things in (rig.lamps, rig.cards, rig.shells) for thing in things]
    if found.stopped_because != "nothing to move" or not (locks and rig.camera.locked):
        return ""
    if not all(locks):
        return ""
    return (
        "Nothing was moved: all of it is locked. Take locked = true from what you are willing to "
        "move, or add what else you own."
    )


def no_strip_words(found: Plan, source: LoadedRig) -> str:
    """Return why no board was shown as a strip, where that would make a cleaner band.

    Turned until the foil sees a strip of it, a board stands in the air; what leans on books or
    lies across them shows its face.
    """
    is_good = found.score is not None and found.score >= GOOD_BAND
    had = cupboard_of(source.rig, owned_items(source))
    hangs = any(kind in had.holders for kind in HANGS)
    if found.rig.look.kind != "bright band" or is_good or hangs or not had.boards:
        return ""
    return (
        "Nothing that you own hangs a board, so none could be turned until the foil sees a strip "
        "of it, which makes the cleanest band: a clamp or a boom would."
    )
