"""A seed-packet label: a sunflower head, its seeds in their spiral."""

from __future__ import annotations

import math

from drawings.plate import Plate, turn


def sunflower_label() -> Plate:
    """Draw a seed-packet label: a sunflower head, its seeds in their spiral."""
    plate = Plate(90, 120)
    plate.frame(3.2, 0.8, 2.0)
    plate.frame(5.0, 0.28, 1.2)
    head = (0.0, 5.6)
    for ring, (count, length, width) in enumerate(((21, 17.0, 0.40), (21, 13.0, 0.46))):
        for i in range(count):
            angle = 360 * (i + 0.5 * ring) / count
            foot = turn((15.6, 0), angle, head)
            if ring:
                plate.leaf(foot, angle, length + 1.6, width=width + 0.10, vein=False, fill=0)
            plate.leaf(foot, angle, length, width=width)
    plate.disk(head, 17.6, 0)
    for i in range(1, 232):
        radius = 1.05 * math.sqrt(i)
        angle = i * 137.50776
        place = turn((radius, 0), angle, head)
        size = 0.30 + 0.26 * radius / 16
        tip = turn((radius + 1.35 * size, 0), angle, head)
        plate.tapered([place, tip], [2 * size, 0.7 * size])
    plate.ring(head, 17.0, 0.4)
    plate.text("SUNFLOWER", (0, 46.4), 5.6, face="STIXGeneralBol", spacing_mm=1.2)
    plate.text(
        "sow in May, a thumb deep", (0, -33.6), 3.4, face="STIXGeneralItalic", spacing_mm=0.15
    )
    for sx in (-1, 1):
        plate.line([(sx * 7, -41.5), (sx * 30, -41.5)], 0.4)
        plate.leaf((sx * 1.0, -41.5), 90 - sx * 90, 5.6, width=0.5)
    plate.text("THORN LANE SEED HOUSE", (0, -49.0), 3.1, spacing_mm=0.6)
    return plate
