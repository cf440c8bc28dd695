"""Edges of mirrored things inside the shapes, where the artwork has none.

They make gloss (Marlow, Kim and Anderson 2012: contrast and sharpness of highlights), best
with soft shoulders of 2 to 4 mm; razor-sharp ones begin to look printed: seen by eye.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.optics.colour import lightness

if TYPE_CHECKING:
    from lightplan.arrays import Doubles
    from lightplan.measures.levels import Levels
    from lightplan.measures.maps import SheetPicture

MOST_GAIN = 0.2
SEEN_Lstar = 12.0
"""Root mean square of the wide steps that counts for three quarters of the gain. Our choice."""
RAZOR = 4.0
"""How much sharpness takes back: an edge blurred by less than 1 mm gains nothing."""


def gain(maps: SheetPicture, levels: Levels, brightest: Doubles) -> Doubles:
    """Return what the edges add to the run, 0 to `MOST_GAIN`, of one picture or of many (...).

    Steps over 8 mm tell that there are edges; fourth powers, which the sharpest steps rule,
    of those over 1.4 mm beside them tell how sharp these are.

    Parameters
    ----------
    brightest : (...) float
        Level that is shown as white.
    """
    lines = levels.foil_lines
    if lines.shape[-1] < 12:
        return np.zeros(lines.shape[:-2])
    shown = np.minimum(lines / brightest[..., None, None], 1.0)
    light = np.asarray(lightness(shown), np.float64)
    # Noise of a difference, in L* near the middle of the scale, three times.
    noise = 3.0 * 1.4 * 20.0 * np.asarray(levels.noise_stops)[..., None]
    wide = _over(light[..., 3, :] - light[..., 0, :], noise)
    narrow = _over(light[..., 2, :] - light[..., 1, :], noise) * maps.grid.lines.narrow_scale
    size = np.sqrt(np.square(wide).mean(axis=-1))
    sharp = np.square(np.square(narrow)).mean(axis=-1) / (
        np.square(np.square(wide)).mean(axis=-1) + 1.0
    )
    return np.asarray(
        MOST_GAIN * np.tanh(size / SEEN_Lstar) * np.maximum(1.0 - RAZOR * np.sqrt(sharp), 0.0)
    )


def _over(step: Doubles, noise: Doubles) -> Doubles:
    return np.asarray(np.maximum(np.abs(step) - noise, 0.0))
