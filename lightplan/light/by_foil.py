"""What lamps bring to silver by way of the foil, or of the grating that it is."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from lightplan.light.diffracted import diffracted
from lightplan.light.glints import glints_by_need

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.arrays import Singles
    from lightplan.light.emission import LampFace
    from lightplan.light.glints import Receivers
    from lightplan.light.mirror_face import MirrorFace
    from lightplan.scene.surfaces import Surface

MOST_TIMES = 16  # as many places for some points, over those of all in the mean


def by_foil(
    receivers: Receivers,
    face: MirrorFace,
    surfaces: Sequence[Surface],
    lamps: Sequence[LampFace],
    drawn: int,
) -> Singles:
    """Return what lamps of luminance 1 bring to mirrors by way of the foil, (3, n, lamps)."""
    most = drawn * MOST_TIMES
    found = glints_by_need(receivers, face.between, surfaces, lamps, drawn, most)
    if face.grating is not None:
        found *= np.float32(1.0 - face.grating.strength)
        found += diffracted(receivers, face, face.grating, surfaces, lamps, drawn)
    return found
