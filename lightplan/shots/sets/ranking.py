"""A set of photographs: ranked, with near ties, and the frames that left the set."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, TypeAlias

import numpy as np

from lightplan.shots.results import PhotoScore
from lightplan.shots.sets.consistency import Flag, find_flags, paper_chroma, paper_stops


@dataclass(frozen=True)
class Ranked:
    """One frame's place in its set.

    Parameters
    ----------
    rank : int
        1 is best; frames without a score come last and share the last rank.
    photo : PhotoScore
    likeness : float or None
        0 to 100: how like the middle of the set, in exposure, colour, light and framing.
    ties : tuple of str
        Frames whose score cannot be told from this one's.
    flags : tuple of Flag
    """

    rank: int
    photo: PhotoScore
    likeness: float | None
    ties: tuple[str, ...]
    flags: tuple[Flag, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON."""
        return {
            "file": self.photo.file,
            "rank": self.rank,
            "score": self.photo.score,
            "likeness": self.likeness,
            "ties": list(self.ties),
            "flags": [asdict(flag) for flag in self.flags],
        }


def rank_set(photos: Sequence[PhotoScore]) -> tuple[Ranked, ...]:
    """Return the frames of a set, best first.

    By score; frames that cannot be told apart stay in the order of their likeness to
    the set. Ranking and flags do not depend on the order of `photos`.
    """
    likeness = likeness_to_set(photos)
    flags = find_flags(photos)
    order = sorted(range(len(photos)), key=lambda i: _rank_key(photos[i], likeness[i]))
    ranked = []
    for place, i in enumerate(order):
        judged = photos[i].score is not None
        rank = place + 1 if judged else 1 + sum(p.score is not None for p in photos)
        ties = tuple(photos[j].file for j in order if j != i and near_tie(photos[i], photos[j]))
        ranked.append(Ranked(rank, photos[i], likeness[i], ties, flags[i]))
    return tuple(ranked)


def near_tie(one: PhotoScore, other: PhotoScore) -> bool:
    """Tell whether two scores differ by no more than their joint uncertainty.

    Less than half a point counts as a tie in any case: it is what the page rounds away.
    """
    if one.score is None or other.score is None:
        return False
    joint = math.hypot(*(p.uncertainty for p in (one, other) if p.uncertainty is not None))
    return abs(one.score - other.score) <= max(0.5, joint)


def _rank_key(photo: PhotoScore, likeness: float | None) -> tuple[float, float, str]:
    score = math.inf if photo.score is None else -round(photo.score)
    return (score, 0.0 if likeness is None else -likeness, photo.path)


# Quantities that make frames of one set look alike, each with the difference that is plainly seen.
_Quantity: TypeAlias = Callable[[PhotoScore], float | None]


def _chroma_part(index: int) -> _Quantity:
    def part(photo: PhotoScore) -> float | None:
        found = paper_chroma(photo)
        return None if found is None else found[index]

    return part


def _measured(name: str) -> _Quantity:
    return lambda photo: photo.value(name)


def _framing(index: int) -> _Quantity:
    """Return middle (row, column), size and turn of the sheet, in shares of the frame."""

    def part(photo: PhotoScore) -> float | None:
        if photo.placed is None:
            return None
        corners = np.array(photo.placed.corners) / max(photo.placed.rows, photo.placed.cols)
        middle = corners.mean(axis=0)
        top, left = corners[1] - corners[0], corners[3] - corners[0]
        size = math.sqrt(float(np.hypot(*top) * np.hypot(*left)))
        turn = math.atan2(-top[0], top[1])
        return (float(middle[0]), float(middle[1]), size, turn)[index]

    return part


LIKENESS: tuple[tuple[str, _Quantity, float], ...] = (
    ("exposure", paper_stops, 0.4),
    ("red-green of the paper", _chroma_part(0), 4.0),
    ("blue-yellow of the paper", _chroma_part(1), 4.0),
    ("foil beside the paper", _measured("foil_to_paper_stops"), 0.6),
    ("evenness of the foil", _measured("foil_evenness_stops"), 0.5),
    ("height in the frame", _framing(0), 0.04),
    ("place across the frame", _framing(1), 0.04),
    ("size in the frame", _framing(2), 0.05),
    ("turn in the frame", _framing(3), math.radians(3.0)),
)


def likeness_to_set(photos: Sequence[PhotoScore]) -> list[float | None]:
    """Return how like the middle of its set each frame is, 0 to 100.

    100 exp(-q/2), q the mean square of the departures from the set's medians, each
    divided by the difference that is plainly seen (`LIKENESS`). None for a frame of
    which too little is known.
    """
    squares: list[list[float]] = [[] for _ in photos]
    for _, quantity, scale in LIKENESS:
        values = [quantity(photo) for photo in photos]
        known = [v for v in values if v is not None]
        if not known:
            continue
        middle = float(np.median(known))
        for i, value in enumerate(values):
            if value is not None:
                squares[i].append(((value - middle) / scale) ** 2)
    least = len(LIKENESS) // 2
    return [100.0 * math.exp(-0.5 * sum(s) / len(s)) if len(s) >= least else None for s in squares]
