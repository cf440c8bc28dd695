"""From measures to a verdict: gates, then a score of named parts, with its uncertainty."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

from lightplan.measures.curves import softly
from lightplan.measures.measure import Measures, unit_of
from lightplan.measures.rules import gates_of, parts_of

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from lightplan.measures.gates import GateRule
    from lightplan.measures.parts import PartRule
    from lightplan.scene.look import Look

Verdict: TypeAlias = Literal["keep", "adjust", "retake", "cannot tell"]

KEEP_FROM = 75.0
RETAKE_BELOW = 40.0
LEAST_VALID_SHARE = 0.6
LEAST_CONFIDENCE = 0.5
LEAST_FOIL_PIXELS = 120
FOIL_NOT_TOLD = "foil and paper could not be told apart; give the foil artwork"
"""Reason given where a mask is not trusted, as if no artwork was given."""
PASSED_FROM = 0.97
"""Factor from which a gate counts as passed: what costs less is no reason not to keep."""
NO_JUDGEMENT = -1000.0
"""Merit where nothing can be judged: below anything that can."""


@dataclass(frozen=True, slots=True)
class Part:
    """Points that one part of the picture earns.

    Parameters
    ----------
    name, measure : str
    points, weight : float
        Earned, and the most that could be.
    uncertainty : float
        Of the points, one sigma.
    reason : str
        The measured value beside the wanted one, in words.
    """

    name: str
    measure: str
    points: float
    weight: float
    uncertainty: float
    reason: str


@dataclass(frozen=True, slots=True)
class Gate:
    """A limit that must be kept.

    `factor` multiplies the score: 1 when the gate is passed.
    """

    name: str
    measure: str
    passed: bool
    factor: float
    reason: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict on one picture.

    Parameters
    ----------
    score : float or None
        0 to 100; None where the picture does not allow a judgement.
    verdict : str
        "keep", "adjust", "retake" or "cannot tell".
    parts, gates : tuple
        What the score is made of: the sum of the parts' points times the gates' factors.
    reasons : tuple of str
        The verdict in plain words, what weighs most first.
    uncertainty : float or None
        Of the score, one sigma.
    """

    score: float | None
    verdict: Verdict
    parts: tuple[Part, ...]
    gates: tuple[Gate, ...]
    reasons: tuple[str, ...]
    uncertainty: float | None


def judge(measures: Measures, look: Look) -> Judgement:
    """Return the verdict on a picture for the look that was chosen."""
    doubts = why_not(measures)
    if doubts:
        return Judgement(None, "cannot tell", (), (), doubts, None)
    values = measures.pairs()
    rules = [rule for rule in parts_of(look) if rule.measure in values]
    whole = sum(rule.weight for rule in rules)
    parts = tuple(_part(rule, values[rule.measure], 100.0 / whole) for rule in rules)
    gates = tuple(
        _gate(rule, values[rule.measure]) for rule in gates_of(look) if rule.measure in values
    )
    points = sum(part.points for part in parts)
    factor = math.prod(gate.factor for gate in gates)
    score = min(100.0, max(0.0, points * factor))
    verdict = _verdict(score, gates)
    missing = [rule.name for rule in parts_of(look) if rule.measure not in values]
    return Judgement(
        score,
        verdict,
        parts,
        gates,
        _reasons(parts, gates, missing),
        _uncertainty(parts, points, factor, values, look),
    )


def merit(measures: Measures, look: Look) -> float:
    """Return what a search climbs: a smooth number, larger is better, without floor.

    The natural logarithm of the share of 100 points, so it orders pictures as the score
    does, also far below a score of 1. Where so much is clipped that the score is nought
    (a third of the material and more), light above the clip level counts against it, so
    that the way back is seen.
    """
    return merits([measures], look)[0]


def merits(found: Sequence[Measures], look: Look) -> list[float]:
    """Return the merits of pictures; what several have in common is worked out once."""
    parts = [(rule, _Known(rule.quality)) for rule in parts_of(look)]
    gates = [(rule.measure, _Known(partial(_penalty, rule))) for rule in gates_of(look)]
    return [NO_JUDGEMENT if why_not(one) else _merit(one.pairs(), parts, gates) for one in found]


class _Known(dict[Any, float]):
    """What a function gives, worked out where it is asked for first."""

    def __init__(self, function: Callable[[Any], float]) -> None:
        super().__init__()
        self._function = function

    def __missing__(self, value: Any) -> float:
        found = self[value] = self._function(value)
        return found


def _merit(
    pairs: Mapping[str, tuple[float, float]],
    parts: Sequence[tuple[PartRule, _Known]],
    gates: Sequence[tuple[str, _Known]],
) -> float:
    whole = earned = 0.0
    for rule, qualities in parts:
        if rule.measure in pairs:
            whole += rule.weight
            earned += rule.weight * qualities[pairs[rule.measure][0]]
    found = math.log(max(earned / whole, 1e-9))
    for measure, penalties in gates:
        if measure in pairs:
            found -= penalties[pairs[measure]]
    for name in ("foil", "paper"):
        over = max(0.0, pairs.get(f"{name}_peak_stops", (0.0, 0.0))[0])
        share = pairs.get(f"{name}_clipped_share", (0.0, 0.0))[0]
        found -= over * softly(share, start=0.3, end=0.6)
    return found


def why_not(measures: Measures) -> tuple[str, ...]:
    """Return why a picture cannot be judged; empty when it can."""
    values = measures.pairs()
    found = []
    if values["valid_share"][0] < LEAST_VALID_SHARE:
        shown = values["valid_share"][0]
        found.append(
            f"{1.0 - shown:.0%} of the sheet is outside the picture: step back or zoom out"
        )
    if values["mask_confidence_share"][0] < LEAST_CONFIDENCE:
        found.append(FOIL_NOT_TOLD)
    count = values["foil_pixels_count"][0]
    if count < LEAST_FOIL_PIXELS or "foil_gradient_span_stops" not in values:
        found.append(
            f"only {count:.0f} pixels show solid foil; come closer or check the artwork's size"
        )
    return tuple(found)


def _part(rule: PartRule, pair: tuple[float, float], scale: float) -> Part:
    value, error = pair
    weight = rule.weight * scale
    change = abs(rule.quality(value + error) - rule.quality(value - error))
    return Part(
        rule.name,
        rule.measure,
        weight * rule.quality(value),
        weight,
        0.5 * weight * change,
        f"{rule.name}: {show(rule.measure, value)}, wanted {rule.wanted}",
    )


def _gate(rule: GateRule, pair: tuple[float, float]) -> Gate:
    factor = math.exp(-_penalty(rule, pair))
    passed = rule.is_kept(pair[0]) if rule.is_look else factor >= PASSED_FROM
    return Gate(
        rule.name,
        rule.measure,
        passed,
        factor,
        f"{rule.name if passed else rule.fault}: {show(rule.measure, pair[0])}, "
        f"wanted {rule.wanted}",
    )


def _penalty(rule: GateRule, pair: tuple[float, float]) -> float:
    """Return the logarithm of what the score is divided by, over the measure's uncertainty.

    The mean of the factor over a normal distribution (Gauss and Hermite's rule of three
    points), so that a limit is a slope as wide as what is known of the measure.
    """
    value, error = pair
    spread = math.sqrt(3.0) * error
    if rule.is_kept(value + rule.sign * spread):  # so it is at all three
        return 0.0
    here = rule.penalty(value)
    if error <= 0.0:
        return here
    below, above = rule.penalty(value - spread), rule.penalty(value + spread)
    if here == below == above:
        return here
    # The largest factor is taken out, or far penalties would all be nought.
    least = min(here, below, above)
    mean = (4.0 * math.exp(least - here) + math.exp(least - below) + math.exp(least - above)) / 6.0
    return least - math.log(mean)


def show(name: str, value: float) -> str:
    """Return a measure's value as a maker reads it: no symbols, times beside stops.

    >>> show("foil_clipped_share", 0.034), show("paper_tone_Lstar", -18.0)
    ('3.4%', '18 steps of lightness less')
    >>> show("foil_evenness_stops", 0.5), show("foil_to_white_stops", -1.0)
    ('0.5 stops (1.4 times the light)', '1 stop less (half the light)')
    >>> show("foil_to_white_stops", -2.83), show("brightest_level_stops", -6.6)
    ('2.8 stops less (a seventh of the light)', '6.6 stops less (a hundredth of the light)')
    >>> show("foil_to_white_stops", -0.03), show("foil_to_white_stops", 0.001)
    ('0.03 stops less (nearly the same light)', '0 stops (the same light)')
    """
    unit = unit_of(name)
    if unit == "share":
        return f"{value:.1%}" if value < 0.0995 else f"{value:.0%}"
    if unit == "count":
        return f"{value:.0f}"
    if unit == "stops":
        return f"{_stops(value)} ({_times(value)})"
    if unit in _PLAIN:
        return f"{abs(value):.0f} {_PLAIN[unit]}" + (" less" if value <= -0.5 else "")
    return f"{value:.2f} {unit}" if unit == "stops/cm" else f"{value:.1f} {unit}"


_PLAIN = {
    "L*": "steps of lightness",
    "dE00": "steps that the eye tells apart",
    "C*ab": "steps of colour",
}
"""A step of lightness is a hundredth of the way from black to white; one of colour or of
difference is about what the eye just tells apart (CIE 15, CIE 142)."""


_PARTS = {
    2: "half", 3: "a third of", 4: "a quarter of", 5: "a fifth of",
    6: "a sixth of", 7: "a seventh of", 8: "an eighth of", 10: "a tenth of",
    15: "a fifteenth of", 20: "a twentieth of", 30: "a thirtieth of", 50: "a fiftieth of",
    100: "a hundredth of",
}  # fmt: skip
_HALF_OPEN = 0.58
"""From so much of the light on, its share is told in tenths ("0.8 times"), below as a part."""


def _stops(stops: float) -> str:
    digits = 1 if abs(stops) >= 0.05 else 2
    shown = f"{abs(stops):.{digits}f}".removesuffix(".0").removesuffix(".00")
    plural = "stop" if shown == "1" else "stops"
    return f"{shown} {plural}" + (" less" if stops < 0 and shown != "0" else "")


def _times(stops: float) -> str:
    """Return what stops mean for the light."""
    ratio = 2.0**stops
    if abs(stops) < 0.05:
        return "nearly the same light" if abs(stops) >= 0.005 else "the same light"
    if abs(stops - 1.0) < 0.05:
        return "twice the light"
    if ratio > _HALF_OPEN:
        if ratio < 0.95:
            return f"{ratio:.1f} times the light"
        return f"{ratio:.0f} times the light" if ratio >= 9.5 else f"{ratio:.2g} times the light"
    part = min(_PARTS, key=lambda whole: abs(math.log(whole * ratio)))
    return f"{_PARTS[part]} the light" if part < 100 or ratio > 0.006 else "hardly any light"


def _verdict(score: float, gates: tuple[Gate, ...]) -> Verdict:
    if score < RETAKE_BELOW or any(gate.factor < 0.5 for gate in gates):
        return "retake"
    if score >= KEEP_FROM and all(gate.passed for gate in gates):
        return "keep"
    return "adjust"


def _reasons(
    parts: tuple[Part, ...], gates: tuple[Gate, ...], missing: list[str]
) -> tuple[str, ...]:
    """Return failed gates, then the parts by the points they lose, then what is missing."""
    failed = sorted((gate for gate in gates if not gate.passed), key=lambda gate: gate.factor)
    found = [gate.reason for gate in failed]
    losses = sorted(parts, key=lambda part: part.points - part.weight)
    found += [
        f"{part.reason} ({part.weight - part.points:.0f} of {part.weight:.0f} points lost)"
        for part in losses
        if part.weight - part.points >= 0.5
    ]
    found += [f"not judged, the picture does not show it: {name}" for name in missing]
    return tuple(found) if found else ("nothing to improve",)


def _uncertainty(
    parts: tuple[Part, ...],
    points: float,
    factor: float,
    values: dict[str, tuple[float, float]],
    look: Look,
) -> float:
    """Return the score's uncertainty: parts and gates taken as independent."""
    total = sum((part.uncertainty * factor) ** 2 for part in parts)
    for rule in gates_of(look):
        if rule.measure in values:
            value, error = values[rule.measure]
            ends = [math.exp(-rule.penalty(value + side * error)) for side in (-1.0, 1.0)]
            here = math.exp(-_penalty(rule, (value, error)))
            total += (0.5 * (ends[1] - ends[0]) * points * factor / max(here, 1e-9)) ** 2
    return min(100.0, math.sqrt(total))
