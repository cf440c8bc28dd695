"""Two sets side by side: lamps or window light, and why."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.shots.results import PhotoScore

# Standard error of a median of normal values, over that of their mean: sqrt(pi / 2).
_MEDIAN_ERROR = 1.2533
_LEAST_POINTS = 1.0


@dataclass(frozen=True)
class Reason:
    """One part of the score in which the sets differ.

    Parameters
    ----------
    part : str
        Name of the part, or "gates" for what failed limits cost.
    points : float
        Median of the first set minus median of the second, in points of 100.
    uncertainty : float
        Of `points`, one sigma.
    sentence : str
    """

    part: str
    points: float
    uncertainty: float
    sentence: str


@dataclass(frozen=True)
class Comparison:
    """The answer for two sets.

    Parameters
    ----------
    names : (2,) str
    better : str or None
        None where the difference is within its uncertainty, or a set has no score.
    difference, uncertainty : float or None
        Median score of the first set minus that of the second.
    medians : (2,) float or None
    counts : (2,) int
        Frames with a score.
    best : (2,) str or None
        The best frame of each.
    reasons : tuple of Reason
        What makes the difference, most first.
    sentence : str
    """

    names: tuple[str, str]
    better: str | None
    difference: float | None
    uncertainty: float | None
    medians: tuple[float | None, float | None]
    counts: tuple[int, int]
    best: tuple[str | None, str | None]
    reasons: tuple[Reason, ...]
    sentence: str

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return asdict(self)


def compare_sets(
    first: Sequence[PhotoScore], second: Sequence[PhotoScore], *, names: tuple[str, str]
) -> Comparison:
    """Return which set is better, by how much, and why.

    The medians of the scores are compared, so that one bad frame does not decide. A
    difference counts where it exceeds twice its standard error, taken from the scatter
    within the sets and the scores' own uncertainty.
    """
    sets = (_judged(first), _judged(second))
    counts = (len(sets[0]), len(sets[1]))
    best = (_best(sets[0]), _best(sets[1]))
    if 0 in counts:
        empty = names[counts.index(0)]
        sentence = f"No frame of {empty} could be judged, so the two cannot be compared."
        medians = (_median_score(sets[0]), _median_score(sets[1]))
        return Comparison(names, None, None, None, medians, counts, best, (), sentence)
    one, two = (np.array([p.score for p in s], float) for s in sets)
    difference = float(np.median(one) - np.median(two))
    uncertainty = math.hypot(_error(one, sets[0]), _error(two, sets[1]))
    clear = abs(difference) > 2 * uncertainty
    better = (names[0] if difference > 0 else names[1]) if clear else None
    reasons = _reasons(sets[0], sets[1], names)
    medians = (float(np.median(one)), float(np.median(two)))
    sentence = _sentence(names, better, difference, uncertainty)
    return Comparison(
        names, better, difference, uncertainty, medians, counts, best, reasons, sentence
    )


def _judged(photos: Sequence[PhotoScore]) -> list[PhotoScore]:
    return [photo for photo in photos if photo.score is not None]


def _median_score(photos: Sequence[PhotoScore]) -> float | None:
    return (
        float(np.median([float(p.score) for p in photos if p.score is not None]))
        if photos
        else None
    )


def _best(photos: Sequence[PhotoScore]) -> str | None:
    scored = [(p.score, p.file) for p in photos if p.score is not None]
    return max(scored)[1] if scored else None


def _error(values: np.ndarray[Any, Any], photos: Sequence[PhotoScore]) -> float:
    """Return the standard error of a set's median score."""
    own = [p.uncertainty for p in photos if p.uncertainty is not None]
    within = float(np.std(values, ddof=1)) if len(values) > 1 else 0.0
    scatter = max(within, float(np.median(own)) if own else 0.0)
    return _MEDIAN_ERROR * scatter / math.sqrt(len(values))


def _reasons(
    first: Sequence[PhotoScore], second: Sequence[PhotoScore], names: tuple[str, str]
) -> tuple[Reason, ...]:
    """Return the parts whose medians differ, and what the gates cost."""
    found = []
    shared = {p.name for s in first for p in s.parts} & {p.name for s in second for p in s.parts}
    for part in [*sorted(shared), "gates"]:
        one, two = _points(first, part), _points(second, part)
        points = float(np.median(one) - np.median(two))
        error = math.hypot(_scatter(one), _scatter(two))
        if abs(points) >= max(_LEAST_POINTS, error):
            ahead = names[0] if points > 0 else names[1]
            if part == "gates":
                broken = _broken(*((second, first) if points > 0 else (first, second)))
                sentence = f"Limits: {ahead} loses {abs(points):.0f} points less{broken}."
            else:
                measured = _measured(first, second, part, names)
                sentence = (
                    f"{part.capitalize()}: {ahead} earns {abs(points):.0f} points more{measured}."
                )
            found.append(Reason(part, points, error, sentence))
    return tuple(sorted(found, key=lambda reason: -abs(reason.points)))


def _broken(behind: Sequence[PhotoScore], ahead: Sequence[PhotoScore]) -> str:
    """Return, in words, the limits that one set keeps less often than the other."""

    def share(photos: Sequence[PhotoScore], name: str) -> float:
        judged = [p for p in photos if p.score is not None]
        return sum(g.name == name and not g.passed for p in judged for g in p.gates) / len(judged)

    names = {g.name: None for p in behind for g in p.gates if not g.passed}
    more = [name for name in names if share(behind, name) > share(ahead, name)]
    return f" (the other set often fails: {', '.join(more)})" if more else ""


def _points(photos: Sequence[PhotoScore], part: str) -> list[float]:
    if part == "gates":  # points lost to limits that were not kept
        return [p.score - sum(x.points for x in p.parts) for p in photos if p.score is not None]
    return [x.points for p in photos for x in p.parts if x.name == part]


def _scatter(values: Sequence[float]) -> float:
    if len(values) < 2:
        return 0.0
    return _MEDIAN_ERROR * float(np.std(values, ddof=1)) / math.sqrt(len(values))


def _measured(
    first: Sequence[PhotoScore], second: Sequence[PhotoScore], part: str, names: tuple[str, str]
) -> str:
    """Return the medians of the measure behind a part, in words."""
    measure = next((x.measure for p in first for x in p.parts if x.name == part), None)
    if measure is None:
        return ""
    both = []
    for photos in (first, second):
        values = [v for p in photos if (v := p.value(measure)) is not None]
        if not values:
            return ""
        both.append(float(np.median(values)))
    name = measure.replace("_", " ")
    return f" ({name} {both[0]:.3g} in {names[0]}, {both[1]:.3g} in {names[1]})"


def _sentence(
    names: tuple[str, str], better: str | None, difference: float, uncertainty: float
) -> str:
    if better is None:
        return (
            f"{names[0]} and {names[1]} cannot be told apart: {abs(difference):.0f} points apart,"
            f" give or take {2 * uncertainty:.0f}."
        )
    return (
        f"{better} is better by {abs(difference):.0f} points, give or take {2 * uncertainty:.0f}."
    )
