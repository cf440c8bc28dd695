"""A square card: a monogram in a laurel ring."""

from __future__ import annotations

import math

import numpy as np

from drawings.plate import Plate, turn


def monogram() -> Plate:
    """Draw a square card: a monogram in a laurel ring."""
    plate = Plate(70, 70)
    for r, w in ((32.0, 0.9), (30.2, 0.3)):
        plate.ring((0, 0), r, w)
    for side in (-1, 1):
        arc = [turn((24.4, 0), -90 + side * a) for a in np.linspace(9, 160, 120)]
        plate.tapered(arc, list(np.linspace(1.0, 0.4, 120)))
        for i in range(4, 118, 9):
            dx, dy = arc[i + 1][0] - arc[i][0], arc[i + 1][1] - arc[i][1]
            along = math.degrees(math.atan2(dy, dx))
            length = 7.6 - 2.8 * i / 120
            for way in (-1, 1):
                plate.leaf(arc[i], along + way * 36, length, width=0.38, bend=-0.05 * way)
            if i % 2 == 0:
                berry = turn((2.6, 0), along + side * 90, arc[i])
                plate.disk(berry, 0.62)
        plate.leaf(
            arc[-1], math.degrees(math.atan2(arc[-1][1] - arc[-2][1], arc[-1][0] - arc[-2][0])), 4.6
        )
    plate.star((0, 27.2), 2.2, 8, 0.36)
    plate.line([(-2.6, -24.0), (2.6, -25.0)], 0.8)
    plate.line([(-2.6, -25.0), (2.6, -24.0)], 0.8)
    plate.text("Q", (-5.6, 2.8), 15.0, face="STIXGeneralBol")
    plate.text("F", (9.6, -4.4), 15.0, face="STIXGeneralBol")
    for sx in (-1, 1):
        for sy in (-1, 1):
            plate.leaf(
                (sx * 32.0, sy * 32.0), 180 + math.degrees(math.atan2(sy, sx)), 7.0, width=0.42
            )
            plate.disk((sx * 31.6, sy * 24.6), 0.7)
            plate.disk((sx * 24.6, sy * 31.6), 0.7)
    return plate
