"""A printed page in millimetres: text that is measured, lines, flowing blocks, and the PDF.

Everything is vectors; fonts are embedded so that text can be read and searched. The same
pages give the same bytes: the file's date is always the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeAlias

import numpy as np

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from fpdf import FPDF
    from numpy.typing import NDArray

    from lightplan.arrays import Floats

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
_FONTS = {False: "DejaVuSans.ttf", True: "DejaVuSans-Bold.ttf"}
_ALWAYS = datetime(2000, 1, 1, tzinfo=UTC)
"""A date that every file bears, since PDF wants one and a clock would change the bytes."""
_MITER_LIMIT = 10.0  # ISO 32000-1, 8.4.3.5: the default


@dataclass(frozen=True)
class PageBox:
    """Where a text or balloon is on its page: left, bottom, right, top in mm."""

    text: str
    left: float
    bottom: float
    right: float
    top: float

    def overlaps(self, other: PageBox, slack_mm: float = 0.0) -> bool:
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


def _document() -> FPDF:
    """Return an empty document that knows our two fonts."""
    from fpdf import FPDF

    document = FPDF(unit="mm")
    document.set_auto_page_break(False)
    # matplotlib carries these fonts, so that no machine differs.
    package = find_spec("matplotlib")
    assert package is not None
    assert package.origin is not None
    folder = Path(package.origin).parent / "mpl-data" / "fonts" / "ttf"
    for bold, file in _FONTS.items():
        document.add_font("DejaVu", "B" if bold else "", folder / file)
    return document


@lru_cache(maxsize=1)
def _ruler() -> FPDF:
    """Return a document that only measures text."""
    return _document()


@lru_cache(maxsize=2)
def _known(bold: bool) -> frozenset[int]:
    from fpdf.fonts import TTFFont

    _ruler().set_font("DejaVu", "B" if bold else "", TEXT_PT)
    font = _ruler().current_font
    assert isinstance(font, TTFFont)
    return frozenset(font.cmap)


def printable(text: str, *, bold: bool = False) -> str:
    """Return text on one line, with ? for characters that the font does not have."""
    known = _known(bold)
    return "".join(c if ord(c) in known else "?" for c in " ".join(text.split()))


@lru_cache(maxsize=8192)
def text_width(text: str, size_pt: float = TEXT_PT, *, bold: bool = False) -> float:
    """Return the width of a line of text in mm, as it will be printed."""
    _ruler().set_font("DejaVu", "B" if bold else "", size_pt)
    return float(_ruler().get_string_width(printable(text, bold=bold)))


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
        self.width, self.height = paper_size(paper)
        self.boxes: list[PageBox] = []
        self._drawn: list[tuple[float, Callable[[FPDF], None]]] = []

    def draw_on(self, document: FPDF) -> None:
        """Add this page to a document, what lies lowest first."""
        document.add_page(format=(self.width, self.height))
        for _, draw in sorted(self._drawn, key=lambda entry: entry[0]):
            draw(document)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size_pt: float = TEXT_PT,
        bold: bool = False,
        colour: str = INK,
        align: Literal["left", "center", "right"] = "left",
        upwards: bool = False,
    ) -> float:
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
            box = PageBox(line, left, bottom, left + tall, bottom + width)
            place = (x + 0.27 * tall, bottom)
        else:
            box = PageBox(line, x - start, y - 0.22 * tall, x - start + width, y + 0.78 * tall)
            place = (x - start, y)
        self.boxes.append(box)
        self._drawn.append(
            (10.0, lambda pdf: self._set(pdf, place, line, size_pt, bold, colour, upwards))
        )
        return width

    def _set(
        self,
        pdf: FPDF,
        place: tuple[float, float],
        line: str,
        size_pt: float,
        bold: bool,
        colour: str,
        upwards: bool,
    ) -> None:
        x, y = place[0], self.height - place[1]
        pdf.set_font("DejaVu", "B" if bold else "", size_pt)
        pdf.set_text_color(*_rgb(colour))
        with pdf.rotation(90 if upwards else 0, x, y):
            pdf.text(x, y, line)

    def line(
        self,
        points: Sequence[tuple[float, float]] | Floats,
        *,
        colour: str = INK,
        width_pt: float = 0.6,
        dashes: tuple[float, ...] = (),
        over: float = 2.0,
        within: tuple[float, float, float, float] | None = None,
    ) -> None:
        """Draw a line through points; `within` cuts it to left, bottom, right, top."""
        style = {"stroke_color": colour, "stroke_width": width_pt * POINT_MM, "fill_color": None}
        if dashes:  # counted in line widths
            style["stroke_dash_pattern"] = [d * width_pt * POINT_MM for d in dashes]
        self._path(np.asarray(points, float), style, over, within, closed=False)

    def shape(
        self,
        points: Sequence[tuple[float, float]] | Floats,
        *,
        fill: str | None,
        colour: str | None = INK,
        width_pt: float = 0.6,
        opacity: float = 1.0,
        over: float = 2.0,
        within: tuple[float, float, float, float] | None = None,
    ) -> None:
        """Draw a closed outline, filled with a colour that may let things shine through."""
        style = {
            "stroke_color": colour,
            "stroke_width": width_pt * POINT_MM,
            "fill_color": fill,
            "fill_opacity": opacity,
        }
        self._path(np.asarray(points, float), style, over, within, closed=True)

    def dot(
        self,
        x: float,
        y: float,
        radius_mm: float,
        *,
        fill: str | None = INK,
        colour: str = INK,
        width_pt: float = 0.6,
        over: float = 6.0,
    ) -> None:
        """Draw a disc or, without fill, a circle."""
        style = {"stroke_color": colour, "stroke_width": width_pt * POINT_MM, "fill_color": fill}

        def draw(pdf: FPDF) -> None:
            with pdf.new_path() as path:
                _dress(path, style)
                path.circle(x, self.height - y, radius_mm)

        self._drawn.append((over, draw))

    def picture(self, codes: NDArray[np.uint8], x: float, y: float, width: float) -> float:
        """Lay a picture (rows, cols, 3) with its lower left corner at (x, y); return its height."""
        rows, cols = codes.shape[:2]
        height = float(width * rows / cols)
        from PIL import Image

        shown = Image.fromarray(np.ascontiguousarray(codes))
        self._drawn.append((1.0, lambda pdf: _lay(pdf, shown, x, self.height - y - height, width)))
        corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height)]
        self.shape(corners, fill=None, colour=RULE, width_pt=0.5)
        return height

    def _path(
        self,
        points: NDArray[np.float64],
        style: dict[str, Any],
        over: float,
        within: tuple[float, float, float, float] | None,
        *,
        closed: bool,
    ) -> None:
        """Keep a line or outline through points (n, 2) to be drawn in its turn."""
        corners = [(float(x), self.height - float(y)) for x, y in points]

        def draw(pdf: FPDF) -> None:
            with pdf.new_path(*corners[0]) as path:
                _dress(path, style)
                path.auto_close = False
                if within is not None:
                    path.clipping_path = self._window(within)
                for corner in corners[1:]:
                    path.line_to(*corner)
                if closed:
                    path.close()

        self._drawn.append((over, draw))

    def _window(self, within: tuple[float, float, float, float]) -> Any:
        from fpdf.drawing import ClippingPath

        left, bottom, right, top = within
        window = ClippingPath()
        window.rectangle(left, self.height - top, right - left, top - bottom)
        return window


def _dress(path: Any, style: dict[str, Any]) -> None:
    """Set colours, width and dashes of a path; corners are mitred, ends are cut square."""
    path.style.stroke_cap_style = "butt"
    path.style.stroke_join_style = "miter"
    path.style.stroke_miter_limit = _MITER_LIMIT
    for name, value in style.items():
        setattr(path.style, name, value)


def _lay(pdf: FPDF, shown: Any, x: float, y: float, width: float) -> None:
    pdf.image(shown, x=x, y=y, w=width)


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def pdf_bytes(pages: Sequence[Page], *, title: str) -> bytes:
    """Return pages as a PDF file whose bytes depend on nothing else."""
    document = _document()
    document.set_title(printable(title))
    document.set_creator("lightplan")
    document.set_producer("lightplan")
    document.set_creation_date(_ALWAYS)
    for page in pages:
        page.draw_on(document)
    return bytes(document.output())
