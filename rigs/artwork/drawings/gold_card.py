"""A wreath with a free middle: the camera's hole shows there."""

from __future__ import annotations

import math

import numpy as np

from drawings.plate import Plate, turn


def gold_card() -> Plate:
    """Draw a wreath with a free middle: the camera's hole shows there."""
    plate = Plate(148, 105)
    plate.frame(4.0, 0.7, 3.0)
    plate.frame(5.6, 0.25, 2.2)
    rx, ry = 51.0, 33.5
    count = 44
    stem = [(rx * math.cos(t), ry * math.sin(t)) for t in np.linspace(0, 2 * math.pi, 240)]
    plate.line(stem, 0.7)
    for i in range(count):
        t = 2 * math.pi * i / count
        foot = (rx * math.cos(t), ry * math.sin(t))
        along = math.degrees(math.atan2(ry * math.cos(t), -rx * math.sin(t)))
        side = 1 if i % 2 == 0 else -1
        plate.leaf(
            foot, along + side * 46, 11.0 if side > 0 else 9.5, width=0.40, bend=-0.06 * side
        )
        if i % 4 == 1:
            berry = turn((6.0, 0), along - 100, foot)
            plate.line([foot, berry], 0.35)
            plate.disk(berry, 1.15)
        if i % 4 == 0:
            berry = turn((5.6, 0), along + 100, foot)
            plate.line([foot, berry], 0.35)
            plate.disk(berry, 0.95)
    for sx in (-1, 1):
        for sy in (-1, 1):
            plate.star((sx * 65.5, sy * 44.0), 3.4, 8, 0.34)
            plate.disk((sx * 59.2, sy * 45.6), 0.6)
            plate.disk((sx * 67.1, sy * 37.8), 0.6)
    return plate
