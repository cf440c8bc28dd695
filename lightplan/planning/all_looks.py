"""Every look that a foil and its stock can carry, each planned quickly with what is owned."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.merit.wanted_levels import paper_level
from lightplan.planning.effort import QUICK as QUICK
from lightplan.planning.effort import Effort
from lightplan.planning.everything import plan_everything
from lightplan.planning.result import NoPlan, Plan
from lightplan.scene import Look, Rig
from lightplan.scene.look import LOOK_KINDS, LookKind

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from lightplan.measures import Judgement
    from lightplan.planning.cupboard import Item

DARK_STOCK = 0.12
"""Reflectance under which stock is so dark that dark foil is lost on it. Our choice."""
_DIAGONAL_RAD = math.radians(60.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class LookPlan:
    """A look, planned; or why it has no plan.

    Parameters
    ----------
    look : str
    plan : Plan or None
    reason : str
        Why there is none; "" otherwise.
    """

    look: LookKind
    plan: Plan | None
    reason: str = ""


def wanted_looks(rig: Rig) -> tuple[tuple[LookKind, ...], Mapping[LookKind, str]]:
    """Return the looks that a rig's foil and stock can carry, and of the others why not."""
    reasons = {kind: _why_not(rig, kind) for kind in LOOK_KINDS}
    return (
        tuple(kind for kind, reason in reasons.items() if not reason),
        {kind: reason for kind, reason in reasons.items() if reason},
    )


def _why_not(rig: Rig, kind: LookKind) -> str:
    """Return why a foil and stock cannot carry a look; "" where they can."""
    grating = rig.sheet.foil.grating is not None
    stock = paper_level(rig)
    if kind == "flat copy":
        return "for records only: evenly lit foil reads as print"
    if kind == "rainbow":
        return "" if grating else "this foil has no grating that splits light into colours"
    if grating and kind in ("gradient", "split", "bright band"):
        return "a holographic foil spreads each edge and run of light into colours"
    if kind == "dark field" and stock < DARK_STOCK:
        return "dark foil is lost on stock as dark as this"
    return ""


def with_look(rig: Rig, kind: LookKind) -> Rig:
    """Return a rig with another look, in the direction that suits it.

    A level of the paper that was set by hand belongs to the look it was set for: under another
    one the paper is as light as its stock is.
    """
    if rig.look.kind == kind:
        return rig
    turn = _DIAGONAL_RAD if kind == "bright band" else rig.look.direction_rad
    exposure = replace(rig.camera.exposure, paper_level=None)
    return replace(
        rig, look=Look(kind=kind, direction_rad=turn), camera=replace(rig.camera, exposure=exposure)
    )


def plan_look(
    rig: Rig,
    items: Sequence[Item],
    kind: LookKind,
    *,
    seed: int = 0,
    effort: Effort = QUICK,
    should_stop: Callable[[], bool] = lambda: False,
) -> LookPlan:
    """Return one look, planned quickly."""
    found = plan_everything(
        with_look(rig, kind), items, seed=seed, effort=effort, should_stop=should_stop
    )
    if isinstance(found, NoPlan):
        return LookPlan(look=kind, plan=None, reason=found.reason)
    return LookPlan(look=kind, plan=found)


def advice(judgement: Judgement, yield_share: float, sensitive: str) -> str:
    """Return one sentence: what holds a look back, or what to take care of.

    Parameters
    ----------
    sensitive : str
        What must be set most carefully: "how high the softbox is"; "" where nothing matters much.
    """
    if judgement.verdict != "keep":
        return f"What holds it back: {judgement.reasons[0]}."
    if yield_share < 0.8 and sensitive:
        return f"Measure with care {sensitive}: one build in {_one_in(yield_share)} misses it."
    if sensitive:
        return f"Good to build by eye; look most carefully at {sensitive}."
    return "Good to build by eye: nothing in it is delicate."


def _one_in(yield_share: float) -> int:
    return max(2, round(1.0 / max(1.0 - yield_share, 0.01)))
