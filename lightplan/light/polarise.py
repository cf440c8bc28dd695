"""A polarising filter on the lens: what it passes of a mirrored ray.

Light from lamps and cards is taken as unpolarised. A mirror reflection then has its s and
p parts (Fresnel); an ideal filter passes the part along its axis.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from lightplan.arrays import Doubles, Floats

UNPOLARISED_SHARE = 0.5  # what an ideal filter passes of matte light


def across_views(axis: Doubles, views: Floats) -> Doubles:
    """Return the part of the filter's axis that lies across each view (n, 3), of length 1."""
    across = axis - (views @ axis)[:, None] * views
    return np.asarray(across / np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9))
