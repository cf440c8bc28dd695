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
    from lightplan.measures.grid import Grid
    from lightplan.measures.maps import SheetPicture
    from lightplan.scene.look import Look

PLACES = 13
"""Places across the band at which its profile is taken."""
HAIRLINE_WEIGHT = 0.01
"""Weight of hairlines beside that of foil whose level is told well: they count where nothing else
is near, for their stamped edges glint and a lens blurs paper into them. Our choice."""
NAMES = ("foil_band_stops", "foil_band_width_share", "foil_band_residual_stops")


def measures(maps: SheetPicture, levels: Levels, look: Look, wanted: Wanted = None) -> Pairs:
    """Return height, width and straightness of a band that runs in the look's direction."""
    if levels.foil_count < LEAST_CELLS or not asked(wanted, *NAMES):
        return {}
    foil, stops = maps.grid.foil, levels.foil_stops
    averaging, at = _profile_of(maps.grid, look.direction_rad + 0.5 * math.pi)
    profile = each_times(averaging, np.concatenate([stops, levels.hairline_stops], axis=-1))
    peak = profile.max(axis=-1)
    top = profile.argmax(axis=-1)[..., None]
    places = np.arange(PLACES)
    left = np.where(places <= top, profile, np.inf).min(axis=-1)
    right = np.where(places >= top, profile, np.inf).min(axis=-1)
    height = peak - np.maximum(left, right)
    noise = levels.cell_noise_stops(maps.grid, foil)
    off = stops - each_times(at, profile)
    # by area, as the eye sees it: a hairline's cell tells less of a photograph than a letter's
    share = foil.cover[None] / max(float(foil.cover.sum()), 1e-9)
    residual = np.sqrt(np.maximum(each_times(share, off * off)[..., 0] - noise**2, 0.0))
    error = np.hypot(residual, noise) / math.sqrt(max(1.0, len(foil.cells) / PLACES))
    return {
        "foil_band_stops": (height, error),
        "foil_band_width_share": (
            _width(profile, peak, height),
            np.full_like(height, 0.5 / PLACES),
        ),
        "foil_band_residual_stops": (residual, error),
    }


def _profile_of(grid: Grid, across_rad: float) -> tuple[Doubles, Doubles]:
    """Return what averages cells into the profile (k, m + h), and what reads it at cells (m, k).

    Cells of the foil, then those of its hairlines, weigh by their cover and a Gaussian one
    place wide, so that scattered shapes leave no place empty.
    """
    foil, thin = grid.foil, grid.hairlines
    low, high = foil.extent_mm(across_rad)
    along = np.concatenate([foil.along_mm(across_rad), thin.along_mm(across_rad)])
    place = (along - low) / max(high - low, 1e-6) * (PLACES - 1)
    apart = np.arange(PLACES)[:, None] - place
    cover = np.concatenate([foil.cover, HAIRLINE_WEIGHT * thin.cover])
    near = np.exp(-0.5 * apart * apart) * cover + 1e-9 / (1.0 + apart * apart)
    linear = np.maximum(0.0, 1.0 - np.abs(apart[:, : len(foil.cells)])).T
    return near / near.sum(axis=1, keepdims=True), linear / linear.sum(axis=1, keepdims=True)


def _width(profile: Doubles, peak: Doubles, height: Doubles) -> Doubles:
    """Return the share of the profile in the upper half of the band, softly counted."""
    middle = peak - 0.5 * height
    slope = 8.0 / np.maximum(height, 0.05)
    over = np.clip((profile - middle[..., None]) * slope[..., None], -40.0, 40.0)
    return np.asarray((1.0 / (1.0 + np.exp(-over))).mean(axis=-1))
