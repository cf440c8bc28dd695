"""A bookmark: rows of scales under a crescent, with a tassel hole."""

from __future__ import annotations

from drawings.plate import Plate


def rainbow_bookmark() -> Plate:
    """Draw a bookmark: rows of scales under a crescent, with a tassel hole."""
    plate = Plate(50, 180)
    plate.frame(2.4, 0.6, 4.0)
    pitch, radius = 10.6, 5.3
    for row in range(21, -1, -1):
        y = -63.0 + row * radius * 0.94
        shift = pitch / 2 if row % 2 else 0.0
        for k in range(-3, 4):
            centre = (k * pitch + shift, y)
            if abs(centre[0]) < 21:
                plate.disk(centre, radius, 0)
                for step, r in enumerate((4.85, 3.5, 2.15)):
                    plate.ring(centre, r, 0.9 - 0.14 * step)
                plate.disk(centre, 1.0)
    for sx in (-1, 1):
        plate.polygon([(sx * 25, -90), (sx * 25, 90), (sx * 21.0, 90), (sx * 21.0, -90)], 0)
    plate.polygon([(-21, 49.0), (21, 49.0), (21, 56.5), (-21, 56.5)], 0)
    plate.polygon([(-21, -66.0), (21, -66.0), (21, -72.0), (-21, -72.0)], 0)
    plate.frame(2.4, 0.6, 4.0)
    for y in (48.6, -65.6):
        plate.line([(-20.6, y), (20.6, y)], 0.7)
    plate.disk((0, 66), 9.4)
    plate.disk((3.2, 67.6), 7.7, 0)
    plate.star((4.2, 68.0), 3.4, 5, 0.42)
    for x, y, r in ((-15.5, 59.6, 1.0), (15.6, 77.4, 1.2), (-14.4, 77.0, 1.5), (16.6, 62.0, 1.0)):
        plate.star((x, y), r, 4, 0.25)
    plate.ring((0, 82.0), 2.5, 0.7)
    plate.text("QUILLFERN", (0, -73.0), 4.0, spacing_mm=0.7)
    plate.text("books & bindings", (0, -80.8), 2.5, face="STIXGeneralItalic", spacing_mm=0.1)
    return plate
