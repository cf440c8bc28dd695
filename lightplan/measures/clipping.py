"""Clipped and nearly clipped shares of foil, paper and background; dark foil.

A channel is clipped where the source says that it had reached its end. No standard fixes
a warning level; 8-bit code 250 is used, 0.955973 linear (IEC 61966-2-1), close to the
L* 98 that the Metamorfoze guidelines give as the lightest value anywhere (code 249).
Channels are counted apart since metals clip one of them first (gold: red).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.arrays import Booleans, Doubles, Singles
from lightplan.measures.levels import HIGH, Levels, log2_level, quantile

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from lightplan.measures.maps import SheetPicture

NEAR_CLIP_LEVEL = 0.955973
_NEAR = np.float32(NEAR_CLIP_LEVEL)
DARK_STOPS = 3.0
"""Foil this far below the paper reads as black. Common practice, no source."""
DARK_FLOOR_STOPS = -7.0
"""Foil this far below the clip level is black in any print (sRGB code 25). Our choice."""

_FLAGS: Mapping[str, Callable[[Singles, Booleans], Booleans]] = {
    "clipped": lambda _, clipped: _any_channel(clipped),
    "clipped_all": lambda _, clipped: ~_any_channel(~clipped),
    "near_clipped": lambda linear, clipped: _any_channel(clipped | (linear >= _NEAR)),
    "clipped_red": lambda _, clipped: clipped[..., 0],
    "clipped_green": lambda _, clipped: clipped[..., 1],
    "clipped_blue": lambda _, clipped: clipped[..., 2],
}
"""Which pixels count for each kind, of linear levels and clipped channels (..., n, 3)."""
Values: TypeAlias = float | Doubles
"""A number of one picture, or numbers (...) of many."""
Pairs = dict[str, tuple[Values, Values]]
"""Measures with their uncertainties by name."""
Wanted = frozenset[str] | None


def asked(wanted: Wanted, *names: str) -> bool:
    """Whether any of these measures is wanted; None stands for all."""
    return wanted is None or not wanted.isdisjoint(names)


def measures(maps: SheetPicture, levels: Levels, wanted: Wanted = None) -> Pairs:
    """Return the shares by name; those of a material that is absent are left out."""
    found = shares(maps, wanted)
    if maps.background is not None and len(maps.background.clipped):
        count = len(maps.background.clipped)
        share = float(maps.background.clipped.all(axis=1).mean())
        found["background_clipped_share"] = (share, _binomial(share, count))
    if levels.foil_count:
        found |= _levels(maps, levels)
    if levels.paper_count:
        noise = levels.cell_noise_stops(maps.grid, maps.grid.paper)
        found["paper_peak_stops"] = (log2_level(quantile(levels.paper_open, HIGH)), noise)
    return found


def shares(maps: SheetPicture, wanted: Wanted = None) -> Pairs:
    """Return the clipped and nearly clipped shares of foil and of paper by name."""
    found: Pairs = {}
    for name, region in (("foil", maps.grid.foil), ("paper", maps.grid.paper)):
        if not len(region.pixels):
            continue
        pixels = maps.pixels(region)
        for kind, flags in _FLAGS.items():
            full_name = f"{name}_{kind}_share"
            if asked(wanted, full_name):
                found[full_name] = _share(flags(*pixels), maps.confidence)
    return found


def _share(flags: Booleans, confidence: float) -> tuple[Values, Values]:
    total = flags.shape[-1]
    share = np.count_nonzero(flags, axis=-1) / total
    # A pixel that is not sure to be foil is not sure to count.
    return share, np.hypot(_binomial(share, total), (1.0 - confidence) * share)


def _levels(maps: SheetPicture, levels: Levels) -> Pairs:
    noise = levels.cell_noise_stops(maps.grid, maps.grid.foil)
    dark_below = np.asarray(DARK_FLOOR_STOPS)
    if levels.paper_count:
        paper = log2_level(levels.paper_marks.middle)
        dark_below = np.maximum(dark_below, paper - DARK_STOPS)
    dark = (levels.foil_stops < dark_below[..., None]).mean(axis=-1)
    return {
        "foil_dark_share": (dark, _binomial(dark, levels.foil_count)),
        "foil_peak_stops": (log2_level(quantile(levels.foil_open, HIGH)), noise),
    }


def _any_channel(flags: Booleans) -> Booleans:
    found: Booleans = flags[..., 0] | flags[..., 1] | flags[..., 2]
    return found


def _binomial(share: Values, count: int) -> Doubles:
    """Return the standard error of a share, with one pixel as the least (Agresti, Coull)."""
    softened = (share * count + 1.0) / (count + 2.0)
    return np.asarray(np.sqrt(softened * (1.0 - softened) / (count + 2.0)))
