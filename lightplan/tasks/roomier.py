"""Whether walls and ceiling hold a plan back: a quick plan without them, judged in more room."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from lightplan.planning.effort import QUICK
from lightplan.planning.everything import plan_everything
from lightplan.planning.result import NoPlan
from lightplan.process import usable_cores
from lightplan.scene.clearance import walls_round
from lightplan.tasks.predict import predict
from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.planning.cupboard import Item
    from lightplan.planning.result import Plan
    from lightplan.scene import Rig, Walls

WORTH_TELLING = 5.0
"""Points of score that more room must be worth to be told. Our choice."""
TIMES_APART = (1.0, 1.5, 2.0)
"""How far apart walls are looked at, of what the things themselves need: close ones throw light
of their own, which spoils a dark field. Our choice."""


@dataclass(frozen=True)
class Roomier:
    """A room, and what a quick plan reaches in it, judged with its walls' own light."""

    walls: Walls
    score: float


def may_be_held_back(found: Plan | NoPlan, rig: Rig) -> bool:
    """Whether it is worth a look: there are walls, and there is no plan, or none to keep."""
    if rig.room.walls is None:
        return False
    if isinstance(found, NoPlan):
        return True
    return found.judgement.verdict != "keep" and found.stopped_because != "stopped on request"


def roomier(
    found: Plan | NoPlan,
    rig: Rig,
    owned: Sequence[Item],
    *,
    seed: int = 0,
    should_stop: Callable[[], bool] = lambda: False,
) -> Roomier | None:
    """Return the least room looked at in which a quick plan comes to what it does without walls.

    None where more room is not worth having.

    Parameters
    ----------
    found : Plan or NoPlan
        Within the walls of `rig`.
    rig, owned, seed, should_stop
        As it was planned from.
    """
    walls = rig.room.walls
    if walls is None or not may_be_held_back(found, rig):
        return None
    effort = replace(QUICK, helpers=max(0, usable_cores() - 1))
    open_rig = replace(rig, room=replace(rig.room, walls=None))
    free = plan_everything(open_rig, owned, seed=seed, effort=effort, should_stop=should_stop)
    if isinstance(free, NoPlan) or free.score is None or should_stop():
        return None
    tried = []
    for times in TIMES_APART:
        tried.append(_judged(free.rig, walls, times))
        if tried[-1].score >= free.score - WORTH_TELLING:
            break
    best = max(tried, key=lambda one: one.score)
    score = None if isinstance(found, NoPlan) else found.score
    had = 0.0 if score is None else score
    return best if best.walls != walls and best.score - had >= WORTH_TELLING else None


def _judged(rig: Rig, walls: Walls, times: float) -> Roomier:
    """Return what a rig is worth where walls stand that many times as far apart as it needs."""
    least = walls_round(rig, walls)
    wide = replace(
        least,
        width_mm=times * least.width_mm,
        depth_mm=times * least.depth_mm,
        ceiling_mm=times * least.ceiling_mm,
    )
    standing = replace(rig, room=replace(rig.room, walls=wide))
    score = predict(standing, explain=False).judgement.score
    return Roomier(wide, 0.0 if score is None else score)


def roomier_words(
    more: Roomier | None, rig: Rig, unit: LengthUnit, *, is_planned: bool = True
) -> str:
    """Return what holds the plan of a rig back and how much room a better one takes, or "".

    Parameters
    ----------
    is_planned : bool
        Whether there is a plan at all within the walls.
    """
    had = rig.room.walls
    if more is None or had is None:
        return ""
    walls = more.walls
    is_wider = walls.width_mm > had.width_mm or walls.depth_mm > had.depth_mm
    is_higher = walls.ceiling_mm > had.ceiling_mm
    what = " and ".join(["the walls"] * is_wider + ["the ceiling"] * is_higher).capitalize()
    width, depth, up = (
        show_length(one, unit) for one in (walls.width_mm, walls.depth_mm, walls.ceiling_mm)
    )
    verb = ("hold" if is_planned else "stand") + ("" if is_wider else "s")
    rest = "this plan back" if is_planned else "in the way of any plan"
    return (
        f"{what} {verb} {rest}: where there is room for {width} by {depth}, and {up} from the "
        f"sheet up to the ceiling, a quick plan comes to about {more.score:.0f} of 100."
    )


def roomier_document(more: Roomier | None, sentence: str) -> dict[str, Any] | None:
    """Return the room that would do as plain values; None where more is not worth having."""
    if more is None:
        return None
    walls = more.walls
    return {
        "width_mm": walls.width_mm,
        "depth_mm": walls.depth_mm,
        "ceiling_mm": walls.ceiling_mm,
        "score": more.score,
        "sentence": sentence,
    }
