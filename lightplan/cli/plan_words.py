"""What `lightplan plan` says."""

from __future__ import annotations

import re
from typing import Any

from lightplan.cli.words import sentence, verdict_line
from lightplan.tasks.move_words import dimension_words, move_line
from lightplan.tasks.plan import NoPlan, Plan, unknown_powers
from lightplan.tasks.plan_hints import left_alone_words
from lightplan.units import LengthUnit, show_length
from lightplan.words.leaning import keystone_words, small_words

STOPPED_WORDS = (
    "Stopped early: it is the best so far, and what hands may miss was worked out quickly; "
    "plan again for surer figures."
)


def plan_words(found: Plan, unit: LengthUnit) -> list[str]:
    """Return what a plan promises, what to set, and what to measure best."""
    words = [found.rig.title, verdict_line(found.judgement)]
    if found.start_score is not None:
        words.append(f"The rig as given scores {found.start_score:.0f}.")
    if found.judgement.verdict != "keep":
        words.append(f"What holds it back: {sentence('; '.join(found.judgement.reasons[:2]))}")
    words.append(yield_words(found))
    if found.stopped_because == "stopped on request":
        words.append(STOPPED_WORDS)
    if found.arrangement:
        words.append(f"Arrangement: {sentence(found.arrangement)}")
    if found.brought_in:
        words.append(f"Bring in: {', '.join(found.brought_in)}; the setup sheet says where.")
    if found.moves:
        words += ["Set:", *(f"  {move_line(move, unit)}" for move in found.moves)]
    if found.left_out:
        # in a plan that is none to keep they may be missed: only there was no place for them
        name = "Not needed" if found.judgement.verdict == "keep" else "Left out"
        words.append(f"{name}: {', '.join(found.left_out)}.")
    if found.robustness.critical:
        element, dimension = found.robustness.critical[0]
        words.append(f"Measure most carefully: {element}, {dimension_words(dimension)}.")
    alone = left_alone_words(found)
    words += [alone] if alone else []
    words += unknown_powers(found)
    leans = keystone_words(found.rig.camera, found.rig.sheet)
    small = small_words(found.rig.camera, found.rig.sheet)
    words += [sentence(one) for one in (leans, small) if one]
    words += [in_unit(sentence(limit.sentence), unit) for limit in found.limits]
    return words


def yield_words(found: Plan) -> str:
    """Return what share of builds holds the plan; "right" is said of a picture to keep only."""
    count, good = f"{100 * found.yield_share:.0f}", f"{found.robustness.good_score:.0f}"
    reach = (
        f"come out right ({good} or more)"
        if found.judgement.verdict == "keep"
        else f"keep {good} points or more"
    )
    yields = found.robustness.yields
    careful, by_eye = (f"{100 * yields[name]:.0f}" for name in ("careful", "by eye"))
    return (
        f"Of 100 builds set with a tape measure, {count} {reach}; with careful hands {careful}, "
        f"by eye {by_eye}."
    )


def no_plan_words(found: NoPlan, unit: LengthUnit) -> list[str]:
    """Return what is in the way, and the nearest wish that works with what it would give."""
    told = dict.fromkeys([found.reason, *(limit.sentence for limit in found.in_the_way)])
    words = ["There is no such plan. In the way:"]
    words += [f"  {in_unit(sentence(text), unit)}" for text in told]
    if not found.wish:
        return [*words, "No small change of the wish was found that helps."]
    words.append(f"The nearest wish that works: {in_unit(sentence(found.wish), unit)}")
    if found.nearest is not None and found.nearest.score is not None:
        words.append(f"With it the plan scores {found.nearest.score:.0f} of 100:")
        words += [f"  {move_line(move, unit)}" for move in found.nearest.moves]
    return words


def in_unit(text: str, unit: LengthUnit) -> str:
    """Return a sentence of the planner, which speaks in mm, in another unit.

    >>> in_unit("Let sky move 300 mm further.", "in")
    'Let sky move 11.8 in further.'
    """
    return re.sub(r"(\d+(?:\.\d+)?) mm\b", lambda m: show_length(float(m[1]), unit), text)


def looks_words(document: dict[str, Any]) -> list[str]:
    """Return what each look of a proof sheet is worth, best first."""
    words = [str(document["title"])]
    for number, look in enumerate(document["looks"], 1):
        metal = 100 * look["reads_as_metal_share"]
        worth = "not told" if look["score"] is None else f"{look['score']:.0f} of 100"
        words.append(
            f"{number}. {look['look']}: reads as metal {metal:.0f} %, {worth}, {look['verdict']}"
        )
        words.append(f"   Needs {look['needs']}.")
        words.append(f"   {look['advice']}")
    words += [f"Not here: {one['look']}, {one['reason']}." for one in document["left_out"]]
    return [*words, "Look at proof.png, choose by eye, then plan from that look's rig file."]
