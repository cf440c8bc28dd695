"""A gift tag: a moth among stars."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate, curve

if TYPE_CHECKING:
    from drawings.plate import Point


def rose_gold_tag() -> Plate:
    """Draw a gift tag: a moth among stars."""
    plate = Plate(85, 55)
    plate.frame(2.6, 0.55, 3.4)
    plate.frame(3.9, 0.2, 2.6)
    _moth(plate, (0.0, 3.4), 1.0)
    plate.text("MADE BY LAMPLIGHT", (0, -17.6), 2.6, spacing_mm=0.55)
    for sx in (-1, 1):
        for x, y, r in ((35.4, 18.6, 1.7), (30.8, 22.0, 0.9), (37.0, 12.6, 0.8), (34.6, -7.8, 1.2)):
            plate.star((sx * x, y), r, 4, 0.24)
        plate.line([(sx * 27.0, -17.6), (sx * 31.6, -17.6)], 0.28)
        plate.star((sx * 34.2, -17.6), 1.2, 4, 0.3)
    return plate


def _moth(plate: Plate, centre: Point, size: float) -> None:
    cx, cy = centre
    for sx in (-1, 1):

        def at(x: float, y: float, sx: int = sx) -> Point:
            return (cx + sx * x * size, cy + y * size)

        fore = curve(
            [(1.2, 4.5), (12, 15), (25, 17.5), (29.5, 13.5), (25, 4), (17, -0.5), (1.5, 0.2)]
        )
        hind = curve(
            [(1.4, 0.4), (12, 0.5), (19.5, -1.8), (18.5, -9.5), (11, -13.6), (4, -8), (1.2, -3)]
        )
        plate.polygon([at(*p) for p in hind])
        plate.line([at(*p) for p in fore], 0.9 * size, 0)
        plate.polygon([at(*p) for p in fore])
        plate.disk(at(18.6, 9.8), 3.0 * size, 0)
        plate.disk(at(18.6, 9.8), 2.2 * size)
        plate.disk(at(18.6, 9.8), 1.1 * size, 0)
        plate.disk(at(12.2, -5.8), 2.2 * size, 0)
        plate.disk(at(12.2, -5.8), 1.4 * size)
        for end in ((24.6, 14.6), (26.2, 10.4), (22.6, 5.0)):
            vein = [at(2.5 + (end[0] - 2.5) * t, 3.2 + (end[1] - 3.2) * t + 1.6 * t * (1 - t))
                    for t in np.linspace(0, 0.52, 20)]  # fmt: skip
            plate.tapered(vein, list(np.linspace(0.16, 0.6, 20) * size), 0)
        edge = curve([(28.0, 13.2), (24.2, 4.8), (16.6, 1.2)])
        for x, y in edge[2::9]:
            plate.disk(at(x, y), 0.42 * size, 0)
        for end in ((16.5, -3.4), (14.0, -9.8), (8.8, -11.0)):
            vein = [at(1.8 + (end[0] - 1.8) * t, -1.2 + (end[1] + 1.2) * t) for t in
                    np.linspace(0.05, 0.48, 20)]  # fmt: skip
            plate.tapered(vein, list(np.linspace(0.14, 0.5, 20) * size), 0)
        feeler = curve([(0.8, 6.0), (3.0, 10.5), (7.6, 13.2)])
        plate.tapered([at(*p) for p in feeler], list(np.linspace(0.7, 0.3, len(feeler)) * size))
        for x, y in feeler[8::5]:
            plate.tapered([at(x, y), at(x + 0.6, y - 1.8)], [0.35 * size, 0.15 * size])
            plate.tapered([at(x, y), at(x - 1.5, y + 1.1)], [0.35 * size, 0.15 * size])
    body = [(cx, cy + y * size) for y in np.linspace(6.2, -11.5, 60)]
    widths = [
        size * w
        for w in np.interp(np.linspace(0, 1, 60), (0, 0.12, 0.3, 0.5, 1), (2.4, 3.4, 4.4, 3.4, 0.7))
    ]
    plate.tapered(body, [w + 1.0 * size for w in widths], 0)
    plate.tapered(body, widths)
    for k in range(5):
        y = cy + (-2.6 - 1.75 * k) * size
        plate.line([(cx - 2.0 * size, y), (cx + 2.0 * size, y)], 0.42 * size, 0)
