"""A bright band across the foil: how high it stands over both sides, how wide, how straight."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from lightplan.measures.clipping import Pairs, Wanted, asked
from lightplan.measures.levels import LEAST_CELLS, Levels
from lightplan.measures.smooth import each_times

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.grid import Region
    from lightplan.measures.maps import SheetPicture
    from lightplan.scene.look import Look

PLACES = 13
"""Places across the band at which its profile is taken."""
NAMES = ("foil_band_stops", "foil_band_width_share", "foil_band_residual_stops")


def measures(maps: SheetPicture, levels: Levels, look: Look, wanted: Wanted = None) -> Pairs:
    """Return height, width and straightness of a band that runs in the look's direction."""
    if levels.foil_count < LEAST_CELLS or not asked(wanted, *NAMES):
        return {}
    foil, stops = maps.grid.foil, levels.foil_stops
    averaging, at = _profile_of(foil, look.direction_rad + 0.5 * math.pi)
    profile = each_times(averaging, stops)
    peak = profile.max(axis=-1)
    top = profile.argmax(axis=-1)[..., None]
    places = np.arange(PLACES)
    left = np.where(places <= top, profile, np.inf).min(axis=-1)
    right = np.where(places >= top, profile, np.inf).min(axis=-1)
    height = peak - np.maximum(left, right)
    noise = levels.cell_noise_stops(maps.grid, foil)
    off = stops - each_times(at, profile)
    residual = np.sqrt(np.maximum((off * off).mean(axis=-1) - noise**2, 0.0))
    error = np.hypot(residual, noise) / math.sqrt(max(1.0, len(foil.cells) / PLACES))
    return {
        "foil_band_stops": (height, error),
        "foil_band_width_share": (
            _width(profile, peak, height),
            np.full_like(height, 0.5 / PLACES),
        ),
        "foil_band_residual_stops": (residual, error),
    }


def _profile_of(foil: Region, across_rad: float) -> tuple[Doubles, Doubles]:
    """Return what averages cells into the profile (k, m), and what reads it at the cells (m, k).

    Cells weigh by their cover and a Gaussian one place wide, so that scattered shapes leave
    no place empty.
    """
    low, high = foil.extent_mm(across_rad)
    place = (foil.along_mm(across_rad) - low) / max(high - low, 1e-6) * (PLACES - 1)
    apart = np.arange(PLACES)[:, None] - place
    near = np.exp(-0.5 * apart * apart) * foil.cover + 1e-9 / (1.0 + apart * apart)
    linear = np.maximum(0.0, 1.0 - np.abs(apart)).T
    return near / near.sum(axis=1, keepdims=True), linear / linear.sum(axis=1, keepdims=True)


def _width(profile: Doubles, peak: Doubles, height: Doubles) -> Doubles:
    """Return the share of the profile in the upper half of the band, softly counted."""
    middle = peak - 0.5 * height
    slope = 8.0 / np.maximum(height, 0.05)
    over = np.clip((profile - middle[..., None]) * slope[..., None], -40.0, 40.0)
    return np.asarray((1.0 / (1.0 + np.exp(-over))).mean(axis=-1))
