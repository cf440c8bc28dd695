"""Artwork of the ink test: small and large shapes, thin script, of an invented bindery."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageFont

RIGS = Path(__file__).parents[3] / "rigs" / "artwork"
LONG_SIDE = 1600
NAMES = ("leaves", "wreath", "script", "plate", "bookplate", "stars", "fine script")

Art = np.ndarray[Any, np.dtype[np.float32]]


def drawn(name: str, width_mm: float, height_mm: float, seed: int) -> Art:
    """Return the share of foil (rows, cols) of one artwork on a sheet of that size."""
    scale = LONG_SIDE / max(width_mm, height_mm)
    size = (round(width_mm * scale), round(height_mm * scale))
    if name == "bookplate":
        picture = Image.open(RIGS / "silver-bookplate.png").convert("L")
        if width_mm > height_mm:
            picture = picture.rotate(90, expand=True)
        return np.asarray(picture.resize(size), np.float32) / 255
    picture = Image.new("L", size, 0)
    pen = ImageDraw.Draw(picture)
    rng = np.random.default_rng(seed)
    {"leaves": _leaves, "wreath": _wreath, "plate": _plate, "stars": _stars}.get(name, _script)(
        pen, size, scale, rng
    ) if name != "fine script" else _fine(pen, size, scale, rng)
    return np.asarray(picture, np.float32) / 255


def _leaf(pen: Any, x: float, y: float, long: float, turn: float) -> None:
    t = np.linspace(0, math.pi, 14)
    half = 0.24 * long * np.sin(t) ** 1.2
    along = long * (t / math.pi - 0.5)
    outline = np.concatenate([np.stack([along, half], 1), np.stack([along, -half], 1)[::-1]])
    c, s = math.cos(turn), math.sin(turn)
    points = outline @ np.array([[c, s], [-s, c]]) + [x, y]
    pen.polygon([tuple(p) for p in points], fill=255)


def _leaves(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    for _ in range(70):
        x, y = rng.uniform(0.07, 0.93, 2) * size
        _leaf(pen, x, y, rng.uniform(4, 9) * scale, rng.uniform(0, math.pi))


def _wreath(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    middle, reach = np.array(size) / 2, 0.36 * np.array(size)
    for k in range(44):
        turn = 2 * math.pi * k / 44
        way = np.array([math.cos(turn), math.sin(turn)])
        off = 1.0 + (0.05 if k % 2 else -0.05)
        x, y = middle + off * reach * way
        _leaf(pen, x, y, 9 * scale, turn + math.pi / 2 + (0.7 if k % 2 else -0.7))
    edge, wide = 5 * scale, max(1, round(0.7 * scale))
    pen.rectangle([edge, edge, size[0] - edge, size[1] - edge], outline=255, width=wide)


def _plate(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    w, h = size
    pen.rounded_rectangle([0.16 * w, 0.2 * h, 0.84 * w, 0.8 * h], radius=6 * scale, fill=255)


def _stars(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    for _ in range(16):
        x, y = rng.uniform(0.12, 0.88, 2) * size
        r = rng.uniform(3, 7) * scale
        turns = np.arange(10) * math.pi / 5
        radii = np.where(np.arange(10) % 2, 0.45 * r, r)
        corners = zip(x + radii * np.sin(turns), y - radii * np.cos(turns), strict=True)
        pen.polygon(list(corners), fill=255)


def _words(pen: Any, size: Any, font: Any, lines: list[str], top: float, step: float) -> None:
    for k, line in enumerate(lines):
        pen.text((size[0] / 2, top + k * step), line, font=font, fill=255, anchor="mm")


def _font(name: str, points: float) -> Any:
    from matplotlib import get_data_path

    return ImageFont.truetype(Path(get_data_path()) / "fonts" / "ttf" / name, round(points))


def _script(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    points = 0.095 * size[0]
    font = _font("DejaVuSans-Oblique.ttf", points)
    _words(
        pen,
        size,
        font,
        ["with all good", "wishes from", "the paper room"],
        0.3 * size[1],
        0.2 * size[1],
    )


def _fine(pen: Any, size: Any, scale: float, rng: np.random.Generator) -> None:
    font = _font("DejaVuSerif-Italic.ttf", 0.055 * size[0])
    lines = [
        "Quillfern Bindery",
        "Thorn Lane Seed House",
        "sow in May, a thumb deep",
        "bound by hand",
        "ex libris",
    ]
    _words(pen, size, font, lines, 0.2 * size[1], 0.15 * size[1])
