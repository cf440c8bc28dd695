"""Text and marks on a picture: fonts, wrapped lines, badges, hatching."""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from lightplan.reports.palette import Colour, ink_on

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lightplan.arrays import Booleans

INK: Colour = (28, 28, 34)
QUICKLY = 2
"""Compression of these pages: a third of the time, a tenth larger than by the usual 6 (tried)."""
FAINT: Colour = (104, 106, 116)
WHITE: Colour = (255, 255, 255)
Font = ImageFont.FreeTypeFont


@lru_cache(maxsize=32)
def font(size: int, *, bold: bool = False) -> Font:
    """Return the sans-serif font that matplotlib carries, so that no machine differs."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(str(_matplotlib_folder() / "mpl-data" / "fonts" / "ttf" / name), size)


@lru_cache(maxsize=1)
def _matplotlib_folder() -> Path:
    """Return where matplotlib lies, without the half second that importing it takes."""
    found = importlib.util.find_spec("matplotlib")
    assert found is not None
    assert found.submodule_search_locations is not None
    return Path(found.submodule_search_locations[0])


def wrap(text: str, face: Font, width: float) -> list[str]:
    """Return lines no wider than `width` pixels; a word too long for a line is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if face.getlength(longer) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = _shortened(word, face, width)
    return [*lines, line] if line else lines


def _shortened(word: str, face: Font, width: float) -> str:
    if face.getlength(word) <= width:
        return word
    kept = word
    while len(kept) > 1 and face.getlength(kept + "…") > width:
        kept = kept[:-1]
    return kept + "…"


@dataclass
class Column:
    """Writes lines one under the other and remembers where it is.

    Parameters
    ----------
    draw : ImageDraw.ImageDraw or None
        None: only measures.
    left, top, width : float
        In pixels; `top` moves down with each line.
    """

    draw: ImageDraw.ImageDraw | None
    left: float
    top: float
    width: float

    def text(
        self, text: str, size: int, *, bold: bool = False, colour: Colour = INK, indent: float = 0.0
    ) -> None:
        """Write wrapped text and move below it."""
        face = font(size, bold=bold)
        for line in wrap(text, face, self.width - indent):
            if self.draw is not None:
                self.draw.text((self.left + indent, self.top), line, font=face, fill=colour)
            self.top += round(1.32 * size)

    def gap(self, height: float) -> None:
        """Leave room."""
        self.top += height


def badge(
    draw: ImageDraw.ImageDraw, at: tuple[float, float], text: str, radius: float, fill: Colour
) -> None:
    """Draw a disc with a white rim and a short text in it."""
    x, y = at
    box = (x - radius, y - radius, x + radius, y + radius)
    draw.ellipse(box, fill=fill, outline=WHITE, width=max(2, round(radius / 7)))
    face = font(round(1.15 * radius), bold=True)
    draw.text((x, y), text, font=face, fill=ink_on(fill), anchor="mm")


def hatched(shape: tuple[int, int], *, pitch: int = 12, stroke: int = 4) -> Booleans:
    """Return diagonal stripes as a mask (rows, cols)."""
    row, col = np.indices(shape)
    found: Booleans = (row + col) % pitch < stroke
    return found


def rim(mask: Booleans, width: int) -> Booleans:
    """Return the inner rim of a mask, `width` pixels wide, the picture's edge counted as out."""
    import cv2

    size = 2 * width + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    inner = cv2.erode(mask.astype(np.uint8), kernel, borderType=cv2.BORDER_CONSTANT, borderValue=0)
    found: Booleans = mask & (inner == 0)
    return found


def blank(width: int, height: int) -> Image.Image:
    """Return a white picture."""
    return Image.new("RGB", (width, height), WHITE)


def paste(page: Image.Image, codes: NDArray[np.uint8], at: tuple[int, int]) -> None:
    """Lay 8-bit codes (rows, cols, 3) on a picture at (left, top)."""
    page.paste(Image.fromarray(np.ascontiguousarray(codes)), at)
