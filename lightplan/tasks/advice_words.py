"""Advice in a maker's words: one line, the whole of it, and what cannot be told."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from lightplan.advice.first_things import LEAST_GAIN, LEAST_KNOB, FirstMove, FoundFirst
from lightplan.advice.orders import foreign_words
from lightplan.estimate.search import OFF
from lightplan.measures.verdict import KEEP_FROM
from lightplan.tasks.doubt_words import doubt_words, doubts_told
from lightplan.tasks.move_told import short_by
from lightplan.words.things import name_in

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.estimate import Estimate, OtherView
    from lightplan.scene import Rig
    from lightplan.scene.foreign import Foreign
    from lightplan.scene.slips import Slip
    from lightplan.shots.results import PhotoScore
    from lightplan.tasks.advise import Advice


TOO_SHORT = 3.0
"""Points below the plan's promise from which a set is not called right; what a maker forgives."""
CARD_HELPS = (
    "If all of the sheet is in the picture, a marker card beside it lets it be found: print one "
    "with `lightplan score --card card.pdf`."
)


def first_word(score: PhotoScore) -> str:
    """Return the verdict on a photograph in one line."""
    if score.score is None:
        return score.reasons[0] if score.reasons else f"{score.file}: cannot tell."
    return f"{score.file}: {score.score:.0f} of 100, {score.verdict}."


def sentence_of(
    score: PhotoScore,
    things: Sequence[FoundFirst],
    foreign: Sequence[Foreign],
    move: FirstMove | None,
    promised: float | None = None,
    short: float = 0.0,
) -> str:
    """Return verdict, what is behind it and the first move in one line.

    `short` is by how many points foil and paper earn less than the plan promised.
    """
    head = first_word(score)
    head += "" if head.endswith(".") else "."
    named = [f.what for f in sorted(things, key=lambda f: -f.cost) if f.cost >= LEAST_GAIN][:2]
    named += [foreign_words(f) for f in foreign[:1]]
    if move is None:
        if not things and not foreign:
            leave = plan_is_poor(promised) or left_short(short)
            return f"{head} The set is as planned{f', but {leave}' if leave else '; leave it'}."
        return f"{head} What differs from the plan costs nothing: leave it."
    why = f" {capital(' and '.join(named))}." if named else ""
    if not things and not foreign:
        why = " The set is as planned, but this still helps."
    return f"{head}{why} First: {move.text}{_after(move)}.{_reason(move)}"


def plan_is_poor(promised: float | None) -> str:
    """Return that more than moves is needed, a clause; empty where the plan is worth keeping."""
    if promised is None or promised >= KEEP_FROM:
        return ""
    return f"the plan itself promises no more than about {promised:.0f}: plan this product anew"


def left_short(short: float) -> str:
    """Return that a set earns less than its plan and no move surely helps, a clause; else empty.

    >>> left_short(17.4)
    'it earns 17 points less than planned, and no move surely helps: measure where all stands'
    """
    if not TOO_SHORT <= short < math.inf:
        return ""
    return (
        f"it earns {short:.0f} points less than planned, and no move surely helps: measure where "
        "all stands"
    )


def _reason(move: FirstMove) -> str:
    """Return what must be said beside a move, as a sentence after it."""
    return f" {capital(move.why)}." if move.why else ""


def _after(move: FirstMove) -> str:
    """Return what to expect of a move, in brackets."""
    if move.score_after is None:
        return ""
    if move.gain < LEAST_KNOB:
        return " (alone it hardly shows yet: another thing is off too)"
    return f" (then about {move.score_after:.0f}, give or take {move.uncertainty:.0f})"


def advice_words(advice: Advice) -> list[str]:
    """Return the advice as lines for a maker."""
    words = [first_word(advice.photo)]
    if advice.estimate is None:
        return words if advice.photo.card_level is not None else [*words, CARD_HELPS]
    if advice.since is not None:
        from lightplan.tasks.drift_words import drift_words

        return drift_words(advice)
    words += [
        f"Photograph {number} was taken for one {other_words(other)}."
        for number, other in enumerate(advice.estimate.others, 2)
    ]
    if advice.as_planned:
        helps = "" if advice.first_move is None else " This still helps:"
        poor = plan_is_poor(advice.promised)
        if advice.first_move is None and advice.promised is not None and not poor:
            poor = left_short(short_by(advice.photo, advice.promised))
        but = f", but {poor}" if poor else ""
        words.append(f"The set is as planned, as far as this photograph tells{but}.{helps}")
    if advice.things or advice.foreign:
        words.append("Not as planned, in the order in which to mend it:")
    for number, thing in enumerate(advice.things, 1):
        cost = f" It costs about {_points(thing.cost)}." if thing.cost >= 0.5 else ""
        sure = f"{100 * thing.slip.confidence:.0f} % sure"
        words.append(f"{number}. {capital(thing.what)} ({sure}).{cost}")
    words += [
        f"{number}. {capital(foreign_words(f))}."
        for number, f in enumerate(advice.foreign, len(advice.things) + 1)
    ]
    move = advice.first_move
    if move is not None:
        told = f"First: {move.text}{_after(move)}.{_reason(move)}"
        words.append(f"{told} Photograph again before you move anything else.")
    words += [f"Not to be told from this photograph: {text}." for text in advice.cannot_tell]
    return words


def _points(cost: float) -> str:
    return f"{cost:.0f} point{'' if round(cost) == 1 else 's'}"


def other_words(one: OtherView) -> str:
    """Return what another photograph of the set shows beside the first, after 'for one'.

    >>> from lightplan.estimate import OtherView
    >>> other_words(OtherView((("softbox", -14.0),), (0.0, 150.0, 0.0)))
    "with 'softbox' off, from a place 150 mm away"
    """
    told = []
    for name, stops in one.turned:
        how = "off" if stops <= OFF else f"turned {'down' if stops < 0 else 'up'} by about a stop"
        told.append(f"with '{name}' {how}")
    if one.moved_mm is not None:
        told.append(f"from a place {math.hypot(*one.moved_mm):.0f} mm away")
    return ", ".join(told) if told else "with nothing changed"


def cannot_tell(found: Estimate) -> list[str]:
    """Return what the photograph does not decide, and the measurement that would."""
    asked = {slip.element for pair in _rivals(found) for slip in pair}
    doubts = [d for d in found.doubts if d.element not in asked]
    return rivals_told(found) + [doubt_words(found.planned, d) for d in doubts_told(doubts)]


def rivals_told(found: Estimate, *, again: bool = True) -> list[str]:
    """Return which other thing could be behind what was found.

    `again` says whether one more photograph of the set would be of use.
    """
    said = [_which(found.planned, *pair, again=again) for pair in _rivals(found)]
    return list(dict.fromkeys(said))


def _rivals(found: Estimate) -> list[tuple[Slip, Slip]]:
    """Return what one explanation has and the other has not: what both name is in no doubt."""
    pairs = []
    for rival in found.rivals[:2]:
        told, other = ({s.element for s in slips} for slips in (found.slips, rival.slips))
        mine = [s for s in found.slips if s.element not in other]
        theirs = [s for s in rival.slips if s.element not in told]
        pairs += [(mine[0], theirs[0])] if mine and theirs else []
    return pairs


def _which(rig: Rig, mine: Slip, other: Slip, *, again: bool) -> str:
    tape = other if other.unit in ("mm", "deg") else mine
    name = name_in(rig, tape.element)
    hows = {"mm": f"measure where {name} stands", "deg": f"check which way {name} faces"}
    how = hows.get(tape.unit, f"check the setting of {name}")
    which = f"whether it is {name_in(rig, mine.element)} or {name_in(rig, other.element)}: {how}"
    lamps = {lamp.name for lamp in rig.lamps}
    if not again or tape.element in ("sheet", "camera", "room"):
        return which
    off = "off" if tape.element in lamps else "taken away"
    return f"{which}, or photograph once more with {name} {off} and name both photographs"


def capital(text: str) -> str:
    """Return a text with a capital."""
    return text[:1].upper() + text[1:]
