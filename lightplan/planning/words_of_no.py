"""Why there is no plan, said as a friend would, with the nearest thing that helps."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.planning.result import NoPlan
from lightplan.scene.clearance import broken

if TYPE_CHECKING:
    from lightplan.planning.cupboard import Cupboard, Movable


def nothing_shines() -> NoPlan:
    """Return that no lamp is on and none is owned."""
    return NoPlan(
        in_the_way=(),
        reason="there is no light in this rig: no lamp that is on, no window, a dark room",
        wish="add a lamp to the rig or to what you own, or say where your window is",
        nearest=None,
    )


def nothing_can_be_built(cupboard: Cupboard) -> NoPlan:
    """Return what is in the way where no arrangement can be built."""
    if cupboard.is_empty:
        return _nothing_moves(cupboard)
    limits = broken(cupboard.base)
    reason = limits[0].sentence if limits else "what you own does not fit round this sheet"
    return NoPlan(
        in_the_way=limits,
        reason=reason,
        wish="give things more room: a larger reach, a holder that hangs boards, or fewer locks",
        nearest=None,
    )


def _nothing_moves(cupboard: Cupboard) -> NoPlan:
    locked = [thing.name for thing in _locked(cupboard)]
    listed = ", ".join(locked) if locked else "nothing"
    return NoPlan(
        in_the_way=broken(cupboard.base),
        reason=f"everything is locked ({listed}), so there is nothing to plan",
        wish="take locked = true from what you are willing to move",
        nearest=None,
    )


def _locked(cupboard: Cupboard) -> list[Movable]:
    rig = cupboard.base
    things: list[Movable] = [*rig.lamps, *rig.cards, *rig.shells]
    return [thing for thing in things if thing.locked]
