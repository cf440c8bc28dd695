"""The light that a grating sends on: its orders, and the wavelengths that stand for white."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from lightplan.optics import spectra

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Singles

SHORTEST_NM, LONGEST_NM = 390.0, 730.0
# Share of the diffracted light in each order; common practice, no source: a shallow
# sinusoidal relief sends most of it to the first orders, evenly to both sides.
ORDERS = {1: 0.42, -1: 0.42, 2: 0.08, -2: 0.08}


@lru_cache(maxsize=256)
def colours(count: int) -> tuple[Doubles, Singles]:
    """Return even wavelengths and what each adds to white: asked for each point of each lamp."""
    wavelengths = wavelengths_nm(count)
    weights = spectra.wavelength_weights(wavelengths, between_rows=True)
    return wavelengths, weights.astype(np.float32)


def wavelengths_nm(count: int) -> Doubles:
    """Return the middles of even steps over the visible range, nm."""
    return SHORTEST_NM + (np.arange(count) + 0.5) / count * (LONGEST_NM - SHORTEST_NM)
