"""A printed page in millimetres: text that is measured, lines, flowing blocks, and the PDF.

Everything is vectors; fonts are embedded so that text can be read and searched. The same
pages give the same bytes: the file holds no clock.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal, TypeAlias, cast

import numpy as np
from numpy.typing import NDArray

from lightplan.arrays import Floats
from lightplan.errors import BadInput

PaperName: TypeAlias = Literal["A4", "Letter"]
PAPERS_MM: dict[PaperName, tuple[float, float]] = {
    "A4": (210.0, 297.0),  # ISO 216
    "Letter": (215.9, 279.4),  # 8.5 x 11 in, ANSI/ASME Y14.1 size A
}
MARGIN_MM = 12.0
POINT_MM = 25.4 / 72
TEXT_PT = 8.0  # the smallest that is printed
LEADING = 1.28
INK, FAINT, RULE = "#1c1c22", "#5a5c66", "#b9bbc4"
_STYLE: dict[str, Any] = {
    "pdf.fonttype": 42, "pdf.use14corefonts": False, "pdf.compression": 6,
    "font.family": ["DejaVu Sans"], "text.usetex": False, "path.simplify": False,
    "path.sketch": None, "path.effects": [], "hatch.linewidth": 0.4,
}  # fmt: skip


@dataclass(frozen=True)
class Box:
    """Where a text or balloon is on its page: left, bottom, right, top in mm."""

    text: str
    left: float
    bottom: float
    right: float
    top: float

    def overlaps(self, other: Box, slack_mm: float = 0.0) -> bool:
        """Whether two boxes share more than `slack_mm` both ways."""
        wide = min(self.right, other.right) - max(self.left, other.left)
        high = min(self.top, other.top) - max(self.bottom, other.bottom)
        return wide > slack_mm and high > slack_mm


def paper_size(paper: str) -> tuple[float, float]:
    """Return width and height of a paper in mm.

    Raises
    ------
    BadInput
        Another paper than A4 or Letter.
    """
    if paper not in PAPERS_MM:
        raise BadInput(field="paper", wanted="A4 or Letter", got=paper, cure="choose one of these")
    return PAPERS_MM[paper]


@lru_cache(maxsize=4)
def _face(bold: bool) -> Any:
    from matplotlib.font_manager import FontProperties

    return FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")


@lru_cache(maxsize=2)
def _known(bold: bool) -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font

    return frozenset(get_font(findfont(_face(bold))).get_charmap())


def printable(text: str, *, bold: bool = False) -> str:
    """Return text on one line, with ? for characters that the font does not have."""
    known = _known(bold)
    return "".join(c if ord(c) in known else "?" for c in " ".join(text.split()))


@lru_cache(maxsize=8192)
def text_width(text: str, size_pt: float = TEXT_PT, *, bold: bool = False) -> float:
    """Return the width of a line of text in mm, as it will be printed."""
    from matplotlib.textpath import text_to_path

    face = _face(bold).copy()
    face.set_size(size_pt)
    width, _, _ = text_to_path.get_text_width_height_descent(
        printable(text, bold=bold), face, ismath=False
    )
    return float(width) * POINT_MM


def wrap(text: str, width_mm: float, size_pt: float = TEXT_PT, *, bold: bool = False) -> list[str]:
    """Return lines that are no wider than `width_mm`; a word too long for one is broken."""
    lines: list[str] = []
    line = ""
    for word in printable(text, bold=bold).split(" "):
        longer = f"{line} {word}".strip()
        if text_width(longer, size_pt, bold=bold) <= width_mm:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while text_width(line, size_pt, bold=bold) > width_mm and len(line) > 1:
            cut = len(line) - 1
            while cut > 1 and text_width(line[:cut], size_pt, bold=bold) > width_mm:
                cut -= 1
            lines.append(line[:cut])
            line = line[cut:]
    return [*lines, line]


def line_height(size_pt: float = TEXT_PT) -> float:
    """Return the step from one line of text to the next in mm."""
    return size_pt * POINT_MM * LEADING


class Page:
    """One page; coordinates in mm from its lower left corner.

    Attributes
    ----------
    width, height : float
        mm.
    boxes : list of Box
        Every text that was set, for the check that nothing overlaps.
    """

    def __init__(self, paper: str) -> None:
        from matplotlib.figure import Figure

        self.width, self.height = paper_size(paper)
        self.boxes: list[Box] = []
        self.figure = Figure(figsize=(self.width / 25.4, self.height / 25.4), facecolor="white")
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(0, self.height)
        self.axes.axis("off")

    def text(
        self, x: float, y: float, text: str, *, size_pt: float = TEXT_PT, bold: bool = False,
        colour: str = INK, align: Literal["left", "center", "right"] = "left",
        upwards: bool = False,
    ) -> float:  # fmt: skip
        """Set one line with its base line at (x, y); return its width in mm.

        `upwards` turns it a quarter anticlockwise, about its middle line at x.
        """
        line = printable(text, bold=bold)
        if not line:
            return 0.0
        width = text_width(line, size_pt, bold=bold)
        start = {"left": 0.0, "center": width / 2, "right": width}[align]
        tall = size_pt * POINT_MM
        if upwards:
            left, bottom = x - 0.5 * tall, y - start
            box = Box(line, left, bottom, left + tall, bottom + width)
            place = (x + 0.27 * tall, bottom)
        else:
            box = Box(line, x - start, y - 0.22 * tall, x - start + width, y + 0.78 * tall)
            place = (x - start, y)
        self.boxes.append(box)
        self.axes.text(
            *place, line, fontproperties=_face(bold), fontsize=size_pt, color=colour,
            ha="left", va="baseline", rotation=90 if upwards else 0, rotation_mode="anchor",
            parse_math=False, zorder=10,
        )  # fmt: skip
        return width

    def line(
        self, points: Sequence[tuple[float, float]] | Floats, *, colour: str = INK,
        width_pt: float = 0.6, dashes: tuple[float, ...] = (), over: float = 2.0,
        within: tuple[float, float, float, float] | None = None,
    ) -> None:  # fmt: skip
        """Draw a line through points; `within` cuts it to left, bottom, right, top."""
        from matplotlib.lines import Line2D

        xy = np.asarray(points, float)
        drawn = Line2D(xy[:, 0], xy[:, 1], color=colour, linewidth=width_pt, zorder=over)
        drawn.set_solid_capstyle("butt")
        if dashes:
            drawn.set_linestyle((0, dashes))
        self.axes.add_line(drawn)
        self._cut(drawn, within)

    def shape(
        self, points: Sequence[tuple[float, float]] | Floats, *, fill: str | None,
        colour: str = INK, width_pt: float = 0.6, opacity: float = 1.0, over: float = 2.0,
        within: tuple[float, float, float, float] | None = None,
    ) -> None:  # fmt: skip
        """Draw a closed outline, filled with a colour that may let things shine through."""
        from matplotlib.colors import to_rgba
        from matplotlib.patches import Polygon

        face = "none" if fill is None else to_rgba(fill, opacity)
        drawn = Polygon(
            np.asarray(points, float), closed=True, facecolor=face, edgecolor=colour,
            linewidth=width_pt, zorder=over, joinstyle="miter",
        )  # fmt: skip
        self.axes.add_patch(drawn)
        self._cut(drawn, within)

    def dot(
        self, x: float, y: float, radius_mm: float, *, fill: str | None = INK,
        colour: str = INK, width_pt: float = 0.6, over: float = 6.0,
    ) -> None:  # fmt: skip
        """Draw a disc or, without fill, a circle."""
        from matplotlib.patches import Circle

        face = "none" if fill is None else fill
        self.axes.add_patch(
            Circle((x, y), radius_mm, facecolor=face, edgecolor=colour, linewidth=width_pt,
                   zorder=over)
        )  # fmt: skip

    def picture(self, codes: NDArray[np.uint8], x: float, y: float, width: float) -> float:
        """Lay a picture (rows, cols, 3) with its lower left corner at (x, y); return its height."""
        rows, cols = codes.shape[:2]
        height = float(width * rows / cols)
        self.axes.imshow(
            codes, extent=(x, x + width, y, y + height), aspect="auto", interpolation="nearest",
            zorder=1,
        )  # fmt: skip
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(0, self.height)
        corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.shape(corners, fill=None, colour=RULE, width_pt=0.5)
        return height

    def _cut(self, drawn: Any, within: tuple[float, float, float, float] | None) -> None:
        if within is None:
            return
        from matplotlib.patches import Rectangle

        left, bottom, right, top = within
        window = Rectangle((left, bottom), right - left, top - bottom)
        window.set_transform(self.axes.transData)
        drawn.set_clip_path(window)


def pdf_bytes(pages: Sequence[Page], *, title: str) -> bytes:
    """Return pages as a PDF file whose bytes depend on nothing else."""
    import matplotlib
    from matplotlib.backends.backend_pdf import PdfPages

    told = {"Title": printable(title), "Creator": "lightplan", "Producer": "lightplan",
            "CreationDate": None}  # fmt: skip
    file = io.BytesIO()
    with matplotlib.rc_context(cast(Any, _STYLE)), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a maker can do nothing about a font's complaint
        with PdfPages(file, metadata=told) as document:
            for page in pages:
                document.savefig(page.figure, dpi=72)
    return file.getvalue()
