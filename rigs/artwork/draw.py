"""Draw the foil artwork of the shipped presets: white is foil, black is paper.

Run ``python rigs/artwork/draw.py`` to write all pictures again beside this file, or give
the names of some. The designs are invented, of a bindery and seed house that does not exist.
Pictures are drawn four times larger than they are kept, so that edges are smooth.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from matplotlib import get_data_path
from PIL import Image, ImageDraw, ImageFont

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

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


def plant_tag() -> Plate:
    """Draw a metal plant tag: all metal, the lettering and a sprig engraved and dark."""
    plate = Plate(120, 40, ground=255)
    plate.frame(2.2, 0.5, 4.5, 0)
    for sx in (-1, 1):
        plate.disk((sx * 53.0, 0), 1.9, 0)
        plate.ring((sx * 53.0, 0), 3.1, 0.4, 0)
    plate.text("ROSEMARY", (13.5, 3.8), 6.6, face="STIXGeneralBol", spacing_mm=0.9, fill=0)
    plate.text(
        "Salvia rosmarinus", (13.5, -8.4), 3.8, face="STIXGeneralItalic", spacing_mm=0.3, fill=0
    )
    stem = [
        (-44.5 + 15.5 * t, -12.5 + 25 * t - 5 * t * t + 2.5 * math.sin(3 * t))
        for t in np.linspace(0, 1, 60)
    ]
    plate.tapered(stem, list(np.linspace(0.9, 0.35, 60)), 0)
    for i in range(6, 59, 3):
        dx, dy = stem[i][0] - stem[i - 1][0], stem[i][1] - stem[i - 1][1]
        along = math.degrees(math.atan2(dy, dx))
        length = 7.6 - 3.6 * i / 59
        for side in (-1, 1):
            plate.leaf(stem[i], along + side * 48, length, width=0.17, vein=False, fill=0,
                       bend=-0.07 * side)  # fmt: skip
    plate.leaf(stem[-1], 32, 4.2, width=0.2, vein=False, fill=0)
    return plate


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


def monogram() -> Plate:
    """Draw a square card: a monogram in a laurel ring."""
    plate = Plate(70, 70)
    for r, w in ((32.0, 0.9), (30.2, 0.3)):
        plate.ring((0, 0), r, w)
    for side in (-1, 1):
        arc = [turn((24.4, 0), -90 + side * a) for a in np.linspace(9, 160, 120)]
        plate.tapered(arc, list(np.linspace(1.0, 0.4, 120)))
        for i in range(4, 118, 9):
            dx, dy = arc[i + 1][0] - arc[i][0], arc[i + 1][1] - arc[i][1]
            along = math.degrees(math.atan2(dy, dx))
            length = 7.6 - 2.8 * i / 120
            for way in (-1, 1):
                plate.leaf(arc[i], along + way * 36, length, width=0.38, bend=-0.05 * way)
            if i % 2 == 0:
                berry = turn((2.6, 0), along + side * 90, arc[i])
                plate.disk(berry, 0.62)
        plate.leaf(
            arc[-1], math.degrees(math.atan2(arc[-1][1] - arc[-2][1], arc[-1][0] - arc[-2][0])), 4.6
        )
    plate.star((0, 27.2), 2.2, 8, 0.36)
    plate.line([(-2.6, -24.0), (2.6, -25.0)], 0.8)
    plate.line([(-2.6, -25.0), (2.6, -24.0)], 0.8)
    plate.text("Q", (-5.6, 2.8), 15.0, face="STIXGeneralBol")
    plate.text("F", (9.6, -4.4), 15.0, face="STIXGeneralBol")
    for sx in (-1, 1):
        for sy in (-1, 1):
            plate.leaf(
                (sx * 32.0, sy * 32.0), 180 + math.degrees(math.atan2(sy, sx)), 7.0, width=0.42
            )
            plate.disk((sx * 31.6, sy * 24.6), 0.7)
            plate.disk((sx * 24.6, sy * 31.6), 0.7)
    return plate


def scattered_seeds() -> Plate:
    """Draw a postcard strewn with small things: seeds, leaves, stars, dots; none over 6 mm."""
    plate = Plate(148, 105)
    rng = np.random.default_rng(23)
    placed: list[tuple[Point, float]] = []
    for radius, count in ((3.4, 44), (2.2, 70), (1.0, 120)):
        tries = 0
        while count and tries < 4000:
            tries += 1
            place = (float(rng.uniform(-69, 69)), float(rng.uniform(-47, 47)))
            if abs(place[0]) < 49 and abs(place[1]) < 13:
                continue  # room for the words
            if all(math.dist(place, other) > radius + r + 0.9 for other, r in placed):
                placed.append((place, radius))
                count -= 1
                _small_thing(plate, place, radius, rng)
    plate.text("SOW SOMETHING", (0, 4.2), 5.2, face="STIXGeneralBol", spacing_mm=1.0)
    plate.text("thorn lane seed house", (0, -5.4), 3.4, face="STIXGeneralItalic", spacing_mm=0.3)
    return plate


def _small_thing(plate: Plate, place: Point, radius: float, rng: np.random.Generator) -> None:
    angle = float(rng.uniform(0, 360))
    kind = int(rng.integers(0, 4))
    if radius < 1.5:
        plate.disk(place, radius * float(rng.uniform(0.5, 0.9)))
    elif kind == 0:
        plate.star(place, radius, 5, 0.42, angle)
    elif kind == 1:  # a winged seed
        plate.leaf(place, angle, 1.3 * radius, width=0.5, vein=False)
        plate.disk(place, 0.36 * radius)
    elif kind == 2:
        foot = turn((-radius, 0), angle, place)
        plate.leaf(foot, angle, 2 * radius, width=0.44, vein=radius > 3)
    else:
        for i in range(5):
            plate.disk(turn((0.56 * radius, 0), angle + 72 * i, place), 0.38 * radius)
        plate.disk(place, 0.2 * radius, 0)


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


DESIGNS: dict[str, Callable[[], Plate]] = {
    "gold-card": gold_card,
    "silver-bookplate": silver_bookplate,
    "copper-label": copper_label,
    "rose-gold-tag": rose_gold_tag,
    "rainbow-bookmark": rainbow_bookmark,
    "plant-tag": plant_tag,
    "certificate": certificate,
    "sunflower-label": sunflower_label,
    "monogram": monogram,
    "scattered-seeds": scattered_seeds,
    "thanks-script": thanks_script,
    "holographic-strips": holographic_strips,
}


def main(names: Sequence[str]) -> None:
    """Write the pictures of `names`, or all."""
    folder = Path(__file__).resolve().parent
    for name in names if names else DESIGNS:
        DESIGNS[name]().kept().save(folder / f"{name}.png", optimize=True)


if __name__ == "__main__":
    main(sys.argv[1:])
