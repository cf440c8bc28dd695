"""A metal plant tag: all metal, the lettering and a sprig engraved and dark."""

from __future__ import annotations

import math

import numpy as np

from drawings.plate import Plate


def plant_tag() -> Plate:
    """Draw a metal plant tag: all metal, the lettering and a sprig engraved and dark."""
    plate = Plate(120, 40, ground=255)
    plate.frame(2.2, 0.5, 4.5, 0)
    for sx in (-1, 1):
        plate.disk((sx * 53.0, 0), 1.9, 0)
        plate.ring((sx * 53.0, 0), 3.1, 0.4, 0)
    plate.text("ROSEMARY", (13.5, 3.8), 6.6, face="STIXGeneralBol", spacing_mm=0.9, fill=0)
    plate.text(
        "Salvia rosmarinus", (13.5, -8.4), 3.8, face="STIXGeneralItalic", spacing_mm=0.3, fill=0
    )
    stem = [
        (-44.5 + 15.5 * t, -12.5 + 25 * t - 5 * t * t + 2.5 * math.sin(3 * t))
        for t in np.linspace(0, 1, 60)
    ]
    plate.tapered(stem, list(np.linspace(0.9, 0.35, 60)), 0)
    for i in range(6, 59, 3):
        dx, dy = stem[i][0] - stem[i - 1][0], stem[i][1] - stem[i - 1][1]
        along = math.degrees(math.atan2(dy, dx))
        length = 7.6 - 3.6 * i / 59
        for side in (-1, 1):
            plate.leaf(stem[i], along + side * 48, length, width=0.17, vein=False, fill=0,
                       bend=-0.07 * side)  # fmt: skip
    plate.leaf(stem[-1], 32, 4.2, width=0.2, vein=False, fill=0)
    return plate
