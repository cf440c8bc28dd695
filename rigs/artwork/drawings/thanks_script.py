"""A thank-you card in fine script, hairlines of 0.25 mm and flourishes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate

if TYPE_CHECKING:
    from drawings.plate import Point


def thanks_script() -> Plate:
    """Draw a thank-you card in fine script, hairlines of 0.25 mm and flourishes."""
    plate = Plate(150, 100)
    plate.frame(6.0, 0.3, 4.0)
    words = (("With warmest", 15.0, 9.6), ("thanks", -6.0, 15.5))
    for line, y, size in words:
        plate.text(line, (0, y), size, face="STIXGeneralItalic", spacing_mm=0.15)
    plate.text("QUILLFERN BINDERY", (0, -32.5), 2.6, spacing_mm=1.1)
    for sx in (-1, 1):
        _flourish(plate, (sx * 33.5, -5.0), sx, 1.0)
        _flourish(plate, (sx * 5.0, 33.0), sx, 0.7)
        plate.tapered([(sx * 4.0, -24.5), (sx * 34.0, -24.5)], [0.55, 0.18])
    plate.star((0, -24.5), 1.6, 4, 0.26)
    plate.star((0, 33.0), 1.5, 4, 0.26)
    return plate


def _flourish(plate: Plate, start: Point, side: int, size: float) -> None:
    """Draw two pen strokes that run out to one side and curl in like a fern (Euler spirals)."""
    for length, lift, curl in ((36.0, 1, 7.4), (25.0, -1, 6.2)):
        steps = np.linspace(0, 1, 220)
        bearing = curl * steps**2.2 - 0.22
        step = size * length / len(steps)
        x, y = np.cumsum(step * np.cos(bearing)), np.cumsum(step * np.sin(bearing))
        points = [
            (start[0] + side * float(a), start[1] + lift * float(b))
            for a, b in zip(x, y, strict=True)
        ]
        widths = 0.24 + 0.66 * size * np.sin(np.pi * steps**0.7) ** 4
        plate.tapered(points, list(widths))
        plate.disk(points[-1], 0.62 * size)
