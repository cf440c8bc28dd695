"""A plate to draw foil on: lines, leaves, stars and letters in mm."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import get_data_path
from PIL import Image, ImageDraw, ImageFont

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

LONG_SIDE = 1200
OVERSAMPLING = 4
FONTS = Path(get_data_path()) / "fonts" / "ttf"  # they come with matplotlib: the same everywhere

Point = tuple[float, float]


class Plate:
    """A foil plate in mm, origin in the middle, x right, y up.

    Parameters
    ----------
    width_mm, height_mm : float
        Of the sheet.
    ground : int
        0: foil is drawn on paper; 255: the whole sheet is metal.
    """

    def __init__(self, width_mm: float, height_mm: float, ground: int = 0) -> None:
        self.width_mm, self.height_mm = width_mm, height_mm
        self.scale = LONG_SIDE * OVERSAMPLING / max(width_mm, height_mm)
        size = (round(width_mm * self.scale), round(height_mm * self.scale))
        self.picture = Image.new("L", size, ground)
        self.pen = ImageDraw.Draw(self.picture)

    def at(self, point: Point) -> Point:
        """Return a point in pixels."""
        x, y = point
        return ((x + self.width_mm / 2) * self.scale, (self.height_mm / 2 - y) * self.scale)

    def polygon(self, points: Iterable[Point], fill: int = 255) -> None:
        """Fill a closed outline."""
        self.pen.polygon([self.at(p) for p in points], fill=fill)

    def line(self, points: Sequence[Point], width_mm: float, fill: int = 255) -> None:
        """Draw a line with round ends and joints."""
        width = max(round(width_mm * self.scale), 1)
        self.pen.line([self.at(p) for p in points], fill=fill, width=width, joint="curve")
        for end in (points[0], points[-1]):
            self.disk(end, width_mm / 2, fill)

    def tapered(self, points: Sequence[Point], widths_mm: Sequence[float], fill: int = 255) -> None:
        """Draw a line whose width changes from point to point, as a brush does."""
        for point, width in zip(points, widths_mm, strict=True):
            self.disk(point, width / 2, fill)
        for a, b, wa, wb in zip(points, points[1:], widths_mm, widths_mm[1:], strict=False):
            dx, dy = b[0] - a[0], b[1] - a[1]
            length = math.hypot(dx, dy)
            if length > 0:
                nx, ny = -dy / length / 2, dx / length / 2
                self.polygon(
                    [
                        (a[0] + nx * wa, a[1] + ny * wa), (b[0] + nx * wb, b[1] + ny * wb),
                        (b[0] - nx * wb, b[1] - ny * wb), (a[0] - nx * wa, a[1] - ny * wa),
                    ],
                    fill,
                )  # fmt: skip

    def disk(self, centre: Point, radius_mm: float, fill: int = 255) -> None:
        """Fill a circle."""
        x, y = self.at(centre)
        r = radius_mm * self.scale
        self.pen.ellipse([x - r, y - r, x + r, y + r], fill=fill)

    def ring(self, centre: Point, radius_mm: float, width_mm: float, fill: int = 255) -> None:
        """Draw a circle's line, centred on its radius."""
        x, y = self.at(centre)
        r = (radius_mm + width_mm / 2) * self.scale
        width = max(round(width_mm * self.scale), 1)
        self.pen.ellipse([x - r, y - r, x + r, y + r], outline=fill, width=width)

    def frame(
        self, inset_mm: float, width_mm: float, corner_mm: float = 0.0, fill: int = 255
    ) -> None:
        """Draw a rectangle's line along the edge, with round corners."""
        left, top = self.at((-self.width_mm / 2 + inset_mm, self.height_mm / 2 - inset_mm))
        right, bottom = self.at((self.width_mm / 2 - inset_mm, -self.height_mm / 2 + inset_mm))
        self.pen.rounded_rectangle(
            [left, top, right, bottom], radius=corner_mm * self.scale, outline=fill,
            width=max(round(width_mm * self.scale), 1),
        )  # fmt: skip

    def text(
        self, words: str, centre: Point, size_mm: float, *, face: str = "STIXGeneral",
        spacing_mm: float = 0.0, fill: int = 255,
    ) -> None:  # fmt: skip
        """Letter `words` about a centre, `size_mm` being the height of a capital."""
        font = ImageFont.truetype(FONTS / f"{face}.ttf", size_mm * self.scale / 0.66)
        widths = [font.getlength(c) + spacing_mm * self.scale for c in words]
        x, y = self.at(centre)
        x -= (sum(widths) - spacing_mm * self.scale) / 2
        top, bottom = font.getbbox("H")[1], font.getbbox("H")[3]
        for letter, width in zip(words, widths, strict=True):
            self.pen.text((x, y - (top + bottom) / 2), letter, font=font, fill=fill)
            x += width

    def leaf(self, foot: Point, angle_deg: float, length_mm: float, *, width: float = 0.36,
             vein: bool = True, bend: float = 0.0, fill: int = 255) -> None:  # fmt: skip
        """Draw a pointed leaf from its foot, with a vein left open."""
        ink = 255 - fill
        steps = np.linspace(0, 1, 40)
        half = length_mm * width / 2 * np.sin(np.pi * steps**0.8) ** 0.9
        spine = [
            turn((length_mm * s, length_mm * bend * s * (1 - s) * 4), angle_deg, foot)
            for s in steps
        ]
        upper = [turn((length_mm * s, length_mm * bend * s * (1 - s) * 4 + h), angle_deg, foot)
                 for s, h in zip(steps, half, strict=True)]  # fmt: skip
        lower = [turn((length_mm * s, length_mm * bend * s * (1 - s) * 4 - h), angle_deg, foot)
                 for s, h in zip(steps, half, strict=True)]  # fmt: skip
        self.polygon([*upper, *lower[::-1]], fill)
        if vein:
            n = 30
            thick = length_mm * width * 0.11
            self.tapered(spine[:n], list(np.linspace(thick, thick * 0.35, n)), ink)

    def star(self, centre: Point, radius_mm: float, points: int = 8, inner: float = 0.38,
             angle_deg: float = 90.0, fill: int = 255) -> None:  # fmt: skip
        """Fill a star."""
        outline = []
        for i in range(2 * points):
            radius = radius_mm if i % 2 == 0 else radius_mm * inner
            outline.append(turn((radius, 0), angle_deg + 180 * i / points, centre))
        self.polygon(outline, fill)

    def kept(self) -> Image.Image:
        """Return the picture at the size it is kept."""
        size = (
            round(self.width_mm * LONG_SIDE / max(self.width_mm, self.height_mm)),
            round(self.height_mm * LONG_SIDE / max(self.width_mm, self.height_mm)),
        )
        return self.picture.resize(size, Image.Resampling.LANCZOS)


def turn(point: Point, angle_deg: float, origin: Point = (0.0, 0.0)) -> Point:
    """Return a point turned to the left about zero, then moved to `origin`."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return (origin[0] + c * point[0] - s * point[1], origin[1] + s * point[0] + c * point[1])


def curve(points: Sequence[Point], steps: int = 16) -> list[Point]:
    """Return a smooth line through points (Catmull-Rom)."""
    ends = [points[0], *points, points[-1]]
    found: list[Point] = []
    for a, b, c, d in zip(ends, ends[1:], ends[2:], ends[3:], strict=False):
        for t in np.linspace(0, 1, steps, endpoint=False):
            weights = (
                -0.5 * t + t**2 - 0.5 * t**3, 1 - 2.5 * t**2 + 1.5 * t**3,
                0.5 * t + 2 * t**2 - 1.5 * t**3, -0.5 * t**2 + 0.5 * t**3,
            )  # fmt: skip
            found.append(tuple(sum(w * p[i] for w, p in zip(weights, (a, b, c, d), strict=True))
                               for i in (0, 1)))  # type: ignore[arg-type]  # fmt: skip
    return [*found, points[-1]]
