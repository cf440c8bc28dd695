"""A seed-packet band: slanting strips of holographic foil, a sun over hills."""

from __future__ import annotations

from drawings.plate import Plate


def holographic_strips() -> Plate:
    """Draw a seed-packet band: slanting strips of holographic foil, a sun over hills."""
    plate = Plate(70, 150)
    for i in range(-14, 15):
        middle = 11.0 * i
        width = 5.2 if i % 3 else 2.0
        points = [(-40.0, middle - 23.0), (40.0, middle + 23.0)]
        plate.line(points, width)
    half_w, half_h = plate.width_mm / 2, plate.height_mm / 2
    for box in ((-half_w, 60, half_w, half_h), (-half_w, -half_h, half_w, -60),
                (-half_w, -half_h, -27, half_h), (27, -half_h, half_w, half_h)):  # fmt: skip
        x0, y0, x1, y1 = box
        plate.polygon([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], 0)
    plate.polygon([(-27, -17), (27, -17), (27, 17), (-27, 17)], 0)
    plate.text("MOON", (0, 6.6), 8.4, face="STIXGeneralBol", spacing_mm=1.8)
    plate.text("FLOWER", (0, -6.4), 6.2, face="STIXGeneralBol", spacing_mm=1.2)
    for y in (-14.2, 14.2):
        plate.line([(-25, y), (25, y)], 0.7)
    plate.text("opens at dusk", (0, -66.0), 3.6, face="STIXGeneralItalic", spacing_mm=0.2)
    plate.text("THORN LANE", (0, 66.5), 3.4, spacing_mm=0.9)
    return plate
