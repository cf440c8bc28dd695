"""Frames that left the exposure or the white balance of their set."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from lightplan.optics import colour

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Doubles
    from lightplan.shots.results import PhotoScore

FlagKind: TypeAlias = Literal["exposure", "white balance", "bracket"]

# Limits below which a frame never counts as having left the set; from memory of practice:
# a fifth of a stop is the finest step cameras set, and a colour difference of 3 is just seen.
EXPOSURE_LIMIT_STOPS = 0.2
WHITE_BALANCE_LIMIT_CAB = 3.0
BRACKET_LIMIT_STOPS = 0.35
# A tone curve stretches a bracket: camera pictures show up to this much more or less than set.
BRACKET_STRETCH = 0.35
_ROBUST_SIGMAS = 4.0
_MAD_TO_SIGMA = 1.4826
_LEAST_FRAMES = 3
_PAPER_WHITE = 0.95
_LEAST_LEVEL = 1e-3


@dataclass(frozen=True)
class Flag:
    """A frame that does not fit its set.

    Parameters
    ----------
    kind : {"exposure", "white balance", "bracket"}
    amount : float
        Departure from the set: stops, or C*ab for white balance.
    sentence : str
        For the maker.
    """

    kind: FlagKind
    amount: float
    sentence: str


def find_flags(photos: Sequence[PhotoScore]) -> list[tuple[Flag, ...]]:
    """Return, for each frame, why it does not fit the set.

    A frame has left the set where it departs from the median by more than a limit and
    by more than four robust standard deviations of the set. In a bracket the exposure
    is meant to vary: there the departure from the exposure that was set counts instead.
    """
    found: list[list[Flag]] = [[] for _ in photos]
    photos, what = _by_card(photos)
    levels = [_unclipped_stops(photo) for photo in photos]
    given = [exposure_stops(photo) for photo in photos]
    pairs = [
        (level, e)
        for level, e in zip(levels, given, strict=True)
        if level is not None and e is not None
    ]
    if is_bracket([e for _, e in pairs]):
        _flag_bracket(found, levels, given)
    else:
        _flag_exposure(found, photos, what)
    _flag_white_balance(found, photos, what)
    return [tuple(flags) for flags in found]


def _by_card(photos: Sequence[PhotoScore]) -> tuple[Sequence[PhotoScore], str]:
    """Return the photographs with the levels to compare, and what those are of.

    A marker card does not gleam as papers do: where all frames show it, it is compared.
    """
    shown = [photo for photo in photos if photo.error is None]
    if not shown or any(photo.card_level is None for photo in shown):
        return photos, "paper"
    return [replace(photo, paper_level=photo.card_level) for photo in photos], "grey card"


def exposure_stops(photo: PhotoScore) -> float | None:
    """Return the exposure that was set, in stops: log2(t S / N^2), None where not told."""
    one = photo.settings
    if one.f_number is None or one.time_s is None:
        return None
    iso = 100.0 if one.iso is None else one.iso
    return math.log2(one.time_s * iso / one.f_number**2)


def is_bracket(exposures: Sequence[float]) -> bool:
    """Tell whether the exposure was varied on purpose: three values or more, a stop apart.

    >>> is_bracket([0.0, 1.0, 2.0, 0.0]), is_bracket([0.0, 0.1, 0.0])
    (True, False)
    """
    return len({round(e * 3) for e in exposures}) >= _LEAST_FRAMES and float(np.ptp(exposures)) >= 1


def _unclipped_stops(photo: PhotoScore) -> float | None:
    level = photo.paper_level if photo.paper_level is not None else photo.foil_level
    if level is None or max(level) > _PAPER_WHITE or _luminance(level) < 4 * _LEAST_LEVEL:
        return None
    return paper_stops(photo)


def _flag_exposure(found: list[list[Flag]], photos: Sequence[PhotoScore], what: str) -> None:
    values = [paper_stops(photo) for photo in photos]
    for i, off, _ in _outliers(values, EXPOSURE_LIMIT_STOPS):
        more = "brighter" if off > 0 else "darker"
        found[i].append(
            Flag("exposure", off, f"The {what} is {abs(off):.1f} stops {more} than in the set.")
        )


def _flag_white_balance(found: list[list[Flag]], photos: Sequence[PhotoScore], what: str) -> None:
    known = [(i, paper_chroma(photo)) for i, photo in enumerate(photos)]
    places = np.array([c for _, c in known if c is not None], float).reshape(-1, 2)
    if len(places) < _LEAST_FRAMES:
        return
    middle = np.median(places, axis=0)
    away = np.hypot(*(places - middle).T)
    limit = max(WHITE_BALANCE_LIMIT_CAB, _ROBUST_SIGMAS * _MAD_TO_SIGMA * float(np.median(away)))
    for i, chroma in known:
        if chroma is None:
            continue
        a, b = chroma[0] - middle[0], chroma[1] - middle[1]
        if math.hypot(a, b) > limit:
            amount = math.hypot(a, b)
            words = f"The {what} is {amount:.0f} C*ab {_hue_word(a, b)} than in the set."
            found[i].append(Flag("white balance", amount, words))


def _hue_word(a: float, b: float) -> str:
    if abs(b) >= abs(a):
        return "yellower" if b > 0 else "bluer"
    return "redder" if a > 0 else "greener"


def _flag_bracket(
    found: list[list[Flag]], levels: Sequence[float | None], given: Sequence[float | None]
) -> None:
    both = [
        None if level is None or e is None else level - e
        for level, e in zip(levels, given, strict=True)
    ]
    known = [(d, e) for d, e in zip(both, given, strict=True) if d is not None and e is not None]
    if len(known) < _LEAST_FRAMES:
        return
    middle = float(np.median([d for d, _ in known]))
    centre = float(np.median([e for _, e in known]))
    for i, difference in enumerate(both):
        exposure = given[i]
        if difference is None or exposure is None:
            continue
        off = difference - middle
        if abs(off) > BRACKET_LIMIT_STOPS + BRACKET_STRETCH * abs(exposure - centre):
            more = "brighter" if off > 0 else "darker"
            words = (
                f"The pixels are {abs(off):.1f} stops {more} than the exposure in the file says:"
                " the light or the camera changed within the bracket."
            )
            found[i].append(Flag("bracket", off, words))


def _outliers(values: Sequence[float | None], limit: float) -> list[tuple[int, float, float]]:
    """Return (index, departure, limit) of values far from the median of the set."""
    known: Doubles = np.array([v for v in values if v is not None], float)
    if len(known) < _LEAST_FRAMES:
        return []
    middle = float(np.median(known))
    spread = _MAD_TO_SIGMA * float(np.median(np.abs(known - middle)))
    most = max(limit, _ROBUST_SIGMAS * spread)
    return [
        (i, v - middle, most)
        for i, v in enumerate(values)
        if v is not None and abs(v - middle) > most
    ]


def paper_stops(photo: PhotoScore) -> float | None:
    """Return the paper's level in stops under clipping (foil's where there is no paper)."""
    level = photo.paper_level if photo.paper_level is not None else photo.foil_level
    return None if level is None else math.log2(max(_luminance(level), _LEAST_LEVEL))


def paper_chroma(photo: PhotoScore) -> tuple[float, float] | None:
    """Return a*, b* of the paper, brought to the lightness of white paper first.

    None where a channel is at its end: the colour is then not known.
    """
    level = photo.paper_level
    if level is None or max(level) > _PAPER_WHITE or _luminance(level) < 4 * _LEAST_LEVEL:
        return None
    lab = colour.linear_srgb_to_lab(np.array(level) * 0.8 / _luminance(level))
    return float(lab[1]), float(lab[2])


def _luminance(level: tuple[float, float, float]) -> float:
    return float(colour.luminance_factor(np.array(level)))
