"""Which move is told: a slip undone, the last move taken back, or what else helps the set."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from lightplan.advice.as_seen import AsSeen
from lightplan.advice.first_things import LEAST_KNOB, FirstOption, State, first_of
from lightplan.advice.helps import (
    CONTENT,
    is_sure,
    less_light,
    plain_curve,
    steps_of_state,
    trims_of_state,
)
from lightplan.advice.memory import Memory, minded, taken_back
from lightplan.measures.gates import LEAST_METAL

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from lightplan.advice.worth import CameraAsSet, Worth
    from lightplan.scene import Rig
    from lightplan.shots.results import PhotoScore

_GAMBLES = 3
"""Steps that only win where everything stands just so, after which no more are tried."""
LITTLE = 0.9
"""Factor on the score above which the frame around the sheet costs little; ours."""


@dataclass(frozen=True, eq=False)
class Before:
    """What is known beside the photograph: earlier frames of the shoot, and its first plan."""

    memory: Memory
    plan: Rig
    camera: CameraAsSet


def choose(
    score: PhotoScore, options: Sequence[FirstOption], state: State, worth: Worth, before: Before
) -> FirstOption | None:
    """Return the one move: a slip undone, the last move taken back, or what else helps."""
    memory = before.memory
    chosen = first_of(minded(options, memory, score.score))
    back = taken_back(memory, state, score.score)
    if back is not None and (chosen is None or back.gain >= chosen.worth):
        return back
    short = short_by(score, worth.score(before.plan, before.camera))
    if chosen is not None or (short <= CONTENT and not _is_dull(score)):
        return chosen
    chosen = _helping(options, state, worth, score, memory)
    if chosen is None and CONTENT < short < math.inf:
        # the model holds the set for as good as planned: by the photograph's word, then
        chosen = _helping([], state, AsSeen(worth, state, score.measures), score, memory)
        chosen = None if chosen is None else replace(chosen, gain=min(chosen.gain, short))
    for less in minded(_clipped_moves(score, state, worth), memory, score.score):
        # what the plan itself does not promise no exposure wins
        if chosen is None or min(less.gain, short) > chosen.worth:
            return less
    return chosen


def _helping(
    options: Sequence[FirstOption], state: State, worth: Worth, score: PhotoScore, memory: Memory
) -> FirstOption | None:
    """Return what helps a set that has not slipped: a setting, else a small step."""
    curve = None if memory.asked_for("tone curve") else plain_curve(state, worth)
    trims = [*options, *trims_of_state(state, worth)]
    best = max((option.worth for option in trims), default=0.0)
    if curve is not None and (not state.planned.camera.lifts_tones or curve.gain > best):
        trims.append(curve)
    chosen = first_of(minded(trims, memory, score.score), LEAST_KNOB)
    if chosen is not None:
        return chosen
    steps = minded(steps_of_state(state, worth), memory, score.score)
    return surest(steps, lambda step: is_sure(step, state, worth))


def surest(steps: Sequence[FirstOption], sure: Callable[[FirstOption], bool]) -> FirstOption | None:
    """Return the step that wins most of those that lose nowhere near; None where all are gambles.

    Where a step is a gamble a shorter one the same way may be none: it is asked next.
    """
    left = list(steps)
    for _ in range(_GAMBLES):
        chosen = first_of(left, LEAST_KNOB)
        if chosen is None:
            return None
        same = [o for o in left if (o.element, o.dimension) == (chosen.element, chosen.dimension)]
        shorter = [o for o in same if 0 < o.value / chosen.value < 1 and o.worth >= LEAST_KNOB]
        for step in (chosen, *sorted(shorter, key=lambda o: -abs(o.value))):
            if sure(step):
                return step
        left = [o for o in left if o not in same]
    return None


def _is_dull(score: PhotoScore) -> bool:
    """Whether the foil does not read as metal, whatever the plan promised."""
    metal = score.value("reads_as_metal_share")
    return metal is not None and metal < LEAST_METAL


def short_by(score: PhotoScore, promised: float) -> float:
    """Return the points by which foil and paper earn less than the plan promised.

    Where they do not, the set is left alone; infinite for a photograph without a score.
    """
    if score.score is None:
        return math.inf
    # a plan has no frame around the sheet; one that costs little is made good by light
    frame = factor_of(score, "frame")
    apart = factor_of(score, "sharpness") * (frame if frame < LITTLE else 1.0)
    return apart * promised - score.score + CONTENT * (1 - apart)


def factor_of(score: PhotoScore, begins: str) -> float:
    """Return what some gates multiply a photograph's score by."""
    return math.prod(g.factor for g in score.gates if g.measure.startswith(begins))


def _clipped_moves(score: PhotoScore, state: State, worth: Worth) -> list[FirstOption]:
    """Return less exposure where the photograph itself is clipped; its gain is the gates' cost."""
    shares = {m: score.value(f"{m}_clipped_share") for m in ("foil", "paper")}
    known = {material: share for material, share in shares.items() if share is not None}
    gates = [g.factor for g in score.gates if g.measure.endswith("clipped_share")]
    option = less_light(state, worth, known, gates)
    if option is None or score.score is None:
        return []
    factor = math.prod(gates)
    whole = min(100.0, score.score / factor) if factor > 0.01 else 50.0
    return [replace(option, gain=0.7 * (whole - score.score))]
