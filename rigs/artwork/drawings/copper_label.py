"""A seed-packet label: a poppy pod and its seeds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate, turn

if TYPE_CHECKING:
    from drawings.plate import Point


def copper_label() -> Plate:
    """Draw a seed-packet label: a poppy pod and its seeds."""
    plate = Plate(90, 130)
    plate.frame(3.5, 0.9, 9.0)
    plate.frame(5.4, 0.3, 7.6)
    plate.text("POPPY", (0, 47), 9.0, face="STIXGeneralBol", spacing_mm=2.2)
    plate.text("thorn lane seed house", (0, 36.5), 3.4, face="STIXGeneralItalic", spacing_mm=0.25)
    _pod(plate, (0.0, 8.0), 13.5)
    stem = [(2.6 * math.sin(2.2 * s), -8.5 - 34 * s) for s in np.linspace(0, 1, 60)]
    plate.tapered(stem, list(np.linspace(2.0, 1.3, 60)))
    for s, side in ((0.30, 1), (0.46, -1), (0.66, 1), (0.80, -1)):
        foot = stem[int(59 * s)]
        length = 27 - 10 * s
        plate.leaf(foot, 90 - side * 58, length, width=0.30, bend=side * 0.10)
        plate.leaf(
            turn((length * 0.34, 0), 90 - side * 58, foot),
            90 - side * 96,
            length * 0.42,
            width=0.30,
        )
    rng = np.random.default_rng(4)
    for side in (-1, 1):
        for _ in range(18):
            angle, radius = rng.uniform(-60, 70), rng.uniform(20, 33)
            x, y = turn((radius, 0), angle if side > 0 else 180 - angle, (0, 8))
            if abs(x) < 36 and y < 31 and y > -20:
                plate.disk((x, y), float(rng.uniform(0.45, 0.95)))
    plate.text("No 12", (0, -50.5), 4.2, spacing_mm=0.5)
    for sx in (-1, 1):
        plate.line([(sx * 11, -50.5), (sx * 25, -50.5)], 0.4)
        plate.star((sx * 29, -50.5), 1.9, 4, 0.3)
    return plate


def _pod(plate: Plate, centre: Point, radius: float) -> None:
    cx, cy = centre
    steps = np.linspace(0, 2 * math.pi, 160)
    outline = [
        (cx + radius * math.cos(t) * (1 - 0.10 * math.sin(t)), cy + radius * 1.12 * math.sin(t))
        for t in steps
    ]
    plate.polygon(outline)
    for k in (-2, -1, 0, 1, 2):
        rib = [(cx + radius * 0.42 * k * math.cos(v), cy + radius * 0.98 * math.sin(v))
               for v in np.linspace(-1.25, 1.1, 50)]  # fmt: skip
        widths = 0.5 + 0.5 * np.cos(np.linspace(-1.25, 1.1, 50))
        plate.tapered(rib, list(widths), 0)
    crown = cy + radius * 1.06
    for k in range(-4, 5):
        tip = (cx + k * 3.5, crown + 6.2 - 0.16 * k * k)
        plate.tapered([(cx + k * 1.7, crown), tip], [1.6, 2.9])
        plate.disk(tip, 1.75)
    plate.polygon(
        [(cx - 9.2, crown), (cx + 9.2, crown), (cx + 7.6, crown + 3.2), (cx - 7.6, crown + 3.2)]
    )
    plate.line([(cx - 8.6, crown - 0.2), (cx + 8.6, crown - 0.2)], 0.6, 0)
