"""A bookplate: night sky over an open book."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate, turn

if TYPE_CHECKING:
    from drawings.plate import Point


def silver_bookplate() -> Plate:
    """Draw a bookplate: night sky over an open book."""
    plate = Plate(120, 160)
    plate.frame(5.0, 1.2, 0.0)
    plate.frame(7.6, 0.4, 0.0)
    for sx in (-1, 1):
        for sy in (-1, 1):
            corner = (sx * 51.0, sy * 71.0)
            for r in (3.0, 5.4, 7.8):
                start = {(1, 1): 180, (-1, 1): 270, (-1, -1): 0, (1, -1): 90}[(sx, sy)]
                arc = [turn((r, 0), start + a, corner) for a in np.linspace(0, 90, 30)]
                plate.line(arc, 0.55)
    plate.text("EX LIBRIS", (0, 58), 7.6, face="STIXGeneralBol", spacing_mm=1.6)
    moon = (0.0, 24.0)
    for i in range(32):
        inner = turn((17.5, 0), 360 * i / 32, moon)
        outer = turn((25.0 if i % 2 == 0 else 21.5, 0), 360 * i / 32, moon)
        plate.tapered([inner, outer], [0.9, 0.25])
    plate.disk(moon, 14.5)
    plate.disk((5.4, 26.6), 11.8, 0)
    plate.star((6.8, 27.6), 4.2, 5, 0.40)
    rng = np.random.default_rng(11)
    for x, y in _scattered(rng, 26, 46, (2, 49), moon, 28.0):
        plate.star((x, y), float(rng.uniform(0.9, 2.1)), 4, 0.22)
    _open_book(plate, (0.0, -22.0))
    plate.line([(-38, -47), (38, -47)], 0.4)
    plate.text("QUILLFERN BINDERY", (0, -54.5), 4.0, spacing_mm=1.05)
    plate.star((0, -62.5), 2.4, 8, 0.34)
    for sx in (-1, 1):
        plate.line([(sx * 5, -62.5), (sx * 24, -62.5)], 0.35)
        plate.disk((sx * 27, -62.5), 0.7)
    return plate


def _scattered(
    rng: np.random.Generator, count: int, half_width: float, rows: Point, hole: Point, radius: float
) -> list[Point]:
    placed: list[Point] = []
    while len(placed) < count:
        p = (float(rng.uniform(-half_width, half_width)), float(rng.uniform(*rows)))
        apart = all(math.dist(p, q) > 5.5 for q in placed)
        if apart and math.dist(p, hole) > radius:
            placed.append(p)
    return placed


def _open_book(plate: Plate, centre: Point) -> None:
    cx, cy = centre
    steps = np.linspace(0, 1, 50)
    for sx in (-1, 1):
        top = [
            (cx + sx * 40 * s, cy + 12 + 5.5 * math.sin(math.pi * s**0.6) - 3 * s) for s in steps
        ]
        bottom = [(x, y - 24) for x, y in top]
        plate.polygon([*top, *bottom[::-1]])
        for k in range(6):
            line = [(cx + sx * (5 + 31 * s), y - 4.6 - 3.0 * k) for s, (_, y) in
                    zip(steps, top, strict=True)]  # fmt: skip
            stop = 50 if k != 5 else 30
            plate.line(line[4:stop], 0.55, 0)
        for k in (1, 2):
            edge = [(x + sx * 0.0, y - 0.9 - 1.5 * k) for x, y in bottom]
            plate.line(edge, 0.5)
    plate.line([(cx, cy + 13.5), (cx, cy - 13.5)], 0.8, 0)
