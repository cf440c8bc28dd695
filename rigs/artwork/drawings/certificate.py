"""A certificate: a braided border, four corner sprays, a seal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from drawings.plate import Plate, curve, turn

if TYPE_CHECKING:
    from drawings.plate import Point


def certificate() -> Plate:
    """Draw a certificate: a braided border, four corner sprays, a seal."""
    plate = Plate(297, 210)
    plate.frame(9, 1.3)
    plate.frame(19, 0.9)
    _braid(plate, 14.0, 3.0)
    for sx in (-1, 1):
        for sy in (-1, 1):
            _corner_spray(plate, (sx * 124.0, sy * 80.5), sx, sy)
    plate.text("CERTIFICATE", (0, 58), 15.0, face="STIXGeneralBol", spacing_mm=4.6)
    plate.text(
        "of patience at the sewing frame", (0, 37.0), 7.2, face="STIXGeneralItalic", spacing_mm=0.5
    )
    for sx in (-1, 1):
        plate.tapered([(sx * 5.5, 25.0), (sx * 60, 25.0)], [1.2, 0.25])
        plate.leaf((sx * 7.0, 25.0), 90 - sx * 55, 9.0, width=0.36)
        plate.leaf((sx * 7.0, 25.0), -90 + sx * 55, 9.0, width=0.36)
    plate.star((0, 25.0), 4.6, 8, 0.36)
    plate.line([(-78, -2), (78, -2)], 0.5)
    _seal(plate, (0, -43), 25.0)
    for sx in (-1, 1):
        plate.line([(sx * 44, -56), (sx * 104, -56)], 0.5)
    plate.text("master binder", (-74, -62.5), 4.4, face="STIXGeneralItalic", spacing_mm=0.3)
    plate.text("day and year", (74, -62.5), 4.4, face="STIXGeneralItalic", spacing_mm=0.3)
    return plate


def _braid(plate: Plate, inset: float, half: float) -> None:
    w, h = plate.width_mm / 2 - inset, plate.height_mm / 2 - inset
    for length, place in (
        (w, lambda u, v: (u, h + v)), (w, lambda u, v: (u, -h + v)),
        (h, lambda u, v: (w + v, u)), (h, lambda u, v: (-w + v, u)),
    ):  # fmt: skip
        waves = round(length / 6.0)
        u = np.linspace(-length + half, length - half, 1200)
        phase = math.pi * waves * (u + length - half) / (length - half)
        for sign in (-1, 1):
            line = [
                place(float(a), float(sign * half * 0.78 * math.sin(b)))
                for a, b in zip(u, phase, strict=True)
            ]
            plate.line(line, 0.85)
        for k in range(2 * waves):
            centre = -length + half + (length - half) * (k + 0.5) / waves
            plate.disk(place(centre, 0.0), 0.8)
    for sx in (-1, 1):
        for sy in (-1, 1):
            plate.disk((sx * w, sy * h), 4.6, 0)
            plate.star((sx * w, sy * h), 4.2, 8, 0.42)


def _corner_spray(plate: Plate, corner: Point, sx: int, sy: int) -> None:
    x, y = corner
    for swap in (False, True):
        dx, dy = (30.0, 7.0) if not swap else (7.0, 30.0)
        stem = curve([(x, y), (x - sx * dx * 0.45, y - sy * dy * 0.25), (x - sx * dx, y - sy * dy)])
        plate.tapered(stem, list(np.linspace(1.1, 0.4, len(stem))))
        for i in range(11, len(stem) - 1, 5):
            ax, ay = stem[i + 1][0] - stem[i][0], stem[i + 1][1] - stem[i][1]
            along = math.degrees(math.atan2(ay, ax))
            for side in (-1, 1):
                plate.leaf(stem[i], along + side * 50, 8.6 - 4.0 * i / len(stem), width=0.36)
        plate.disk(stem[-1], 1.3)
    plate.star((x - sx * 0.6, y - sy * 0.6), 4.2, 8, 0.4)


def _seal(plate: Plate, centre: Point, radius: float) -> None:
    plate.star(centre, radius, 40, 0.93)
    plate.ring(centre, radius * 0.83, 0.7, 0)
    plate.ring(centre, radius * 0.77, 0.35, 0)
    for i in range(24):
        foot = turn((radius * 0.60, 0), 15 * i, centre)
        plate.leaf(foot, 15 * i + 62, radius * 0.24, width=0.42, vein=False, fill=0)
    plate.ring(centre, radius * 0.56, 0.5, 0)
    plate.text(
        "QB",
        (centre[0], centre[1] + 0.4),
        radius * 0.46,
        face="STIXGeneralBol",
        spacing_mm=0.6,
        fill=0,
    )
