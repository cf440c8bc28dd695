"""Clipped and nearly clipped shares of foil, paper and background; dark foil.

A channel is clipped where the source says that it had reached its end. No standard fixes
a warning level; 8-bit code 250 is used, 0.955973 linear (IEC 61966-2-1), close to the
L* 98 that the Metamorfoze guidelines give as the lightest value anywhere (code 249).
Channels are counted apart since metals clip one of them first (gold: red).
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from lightplan.arrays import Booleans, Doubles, Integers, Singles
from lightplan.measures.levels import Levels, log2_level, quantile
from lightplan.measures.maps import Sheet

NEAR_CLIP_LEVEL = 0.955973
DARK_STOPS = 3.0
"""Foil this far below the paper reads as black. Common practice, no source."""
DARK_FLOOR_STOPS = -7.0
"""Foil this far below the clip level is black in any print (sRGB code 25). Our choice."""

_CODES = np.arange(16)
_KINDS = (
    "clipped", "clipped_all", "near_clipped", "clipped_red", "clipped_green", "clipped_blue",
)  # fmt: skip
_CHOSEN = np.array(
    [_CODES % 8 > 0, _CODES % 8 == 7, _CODES > 0, *(_CODES >> bit & 1 > 0 for bit in range(3))],
    np.int64,
)
"""Which codes of a pixel count for each kind: a bit a channel, one for nearly clipped."""
Values: TypeAlias = float | Doubles
"""A number of one picture, or numbers (...) of many."""
Pairs = dict[str, tuple[Values, Values]]
"""Measures with their uncertainties by name."""
Wanted = frozenset[str] | None


def asked(wanted: Wanted, *names: str) -> bool:
    """Whether any of these measures is wanted; None stands for all."""
    return wanted is None or not wanted.isdisjoint(names)


def measures(maps: Sheet, levels: Levels) -> Pairs:
    """Return the shares by name; those of a material that is absent are left out."""
    found = shares(maps)
    if maps.background is not None and len(maps.background.clipped):
        count = len(maps.background.clipped)
        share = float(maps.background.clipped.all(axis=1).mean())
        found["background_clipped_share"] = (share, _binomial(share, count))
    if levels.foil_count:
        found |= _levels(maps, levels)
    if levels.paper_count:
        noise = levels.cell_noise_stops(maps.grid, maps.grid.paper)
        found["paper_peak_stops"] = (log2_level(quantile(levels.paper_open, 0.98)), noise)
    return found


def shares(maps: Sheet) -> Pairs:
    """Return the clipped and nearly clipped shares of foil and of paper by name."""
    found: Pairs = {}
    for name, region in (("foil", maps.grid.foil), ("paper", maps.grid.paper)):
        if len(region.pixels):
            found |= _shares(name, _codes(*maps.pixels(region)), maps.confidence)
    return found


def _codes(linear: Singles, clipped: Booleans) -> NDArray[np.uint8]:
    """Return a number (..., n) a pixel (..., n, 3): a bit a clipped channel, one for nearly."""
    near = _any_channel(linear >= np.float32(NEAR_CLIP_LEVEL))
    codes: NDArray[np.uint8] = (
        clipped[..., 0] * np.uint8(1) + clipped[..., 1] * np.uint8(2)
        + clipped[..., 2] * np.uint8(4) + near * np.uint8(8)
    )  # fmt: skip
    return codes


def _shares(name: str, codes: NDArray[np.uint8], confidence: float) -> Pairs:
    total = codes.shape[-1]
    share = _counts(codes) @ _CHOSEN.T / total
    # A pixel that is not sure to be foil is not sure to count.
    error = np.hypot(_binomial(share, total), (1.0 - confidence) * share)
    return {f"{name}_{kind}_share": (share[..., i], error[..., i]) for i, kind in enumerate(_KINDS)}


def _counts(codes: NDArray[np.uint8]) -> Integers:
    """Return how often each of 16 codes (..., n) is there, (..., 16)."""
    rows = codes.reshape(-1, codes.shape[-1])
    counts = np.array([np.bincount(row, minlength=16) for row in rows])
    return counts.reshape(*codes.shape[:-1], 16)


def _levels(maps: Sheet, levels: Levels) -> Pairs:
    noise = levels.cell_noise_stops(maps.grid, maps.grid.foil)
    dark_below = np.asarray(DARK_FLOOR_STOPS)
    if levels.paper_count:
        paper = log2_level(quantile(levels.paper, 0.5))
        dark_below = np.maximum(dark_below, paper - DARK_STOPS)
    dark = (levels.foil_stops < dark_below[..., None]).mean(axis=-1)
    return {
        "foil_dark_share": (dark, _binomial(dark, levels.foil_count)),
        "foil_peak_stops": (log2_level(quantile(levels.foil_open, 0.98)), noise),
    }


def _any_channel(flags: Booleans) -> Booleans:
    found: Booleans = flags[..., 0] | flags[..., 1] | flags[..., 2]
    return found


def _binomial(share: Values, count: int) -> Doubles:
    """Return the standard error of a share, with one pixel as the least (Agresti, Coull)."""
    softened = (share * count + 1.0) / (count + 2.0)
    return np.asarray(np.sqrt(softened * (1.0 - softened) / (count + 2.0)))
