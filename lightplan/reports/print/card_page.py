"""The marker card as a page to print (PDF, vector)."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Literal

from lightplan.manifest import write_output
from lightplan.reports.print.page import INK, Page, pdf_bytes
from lightplan.shots.sheet.card import (
    PANEL_LIGHTNESS,
    PATCH_LIGHTNESS,
    Box,
    CardLayout,
    Paper,
    marker_modules,
)

if TYPE_CHECKING:
    from lightplan.units import LengthUnit

_PALE, _MARKS, _LIGHT = "#6b6b6b", "#d0d0d0", "#f2f2f2"
_OVERLAP_MM = 0.01
"""Rows of a marker overlap by so many mm, so that no hairline shows between them."""
_SIZES_MM = ((148.0, 210.0, "A5"), (105.0, 148.0, "A6"), (85.0, 55.0, "85 × 55"))


def write_marker_card(
    path: Path, unit: LengthUnit = "mm", *, paper: Paper | None = None, replace: bool = False
) -> Path:
    """Write the marker card, and slips for strips of foil, as a PDF to print at its true size.

    Parameters
    ----------
    path : Path
    unit : str
        Unit the maker reads: "in" prints on Letter and puts inches first, unless
        `paper` says otherwise.
    paper : {"A4", "Letter"}, optional
    replace : bool
        Whether a file that is there already may be replaced.

    Raises
    ------
    lightplan.safe_write.FileExists
        The file is there and `replace` is false.
    """
    from lightplan.reports.print.strip_page import strip_page

    if paper is None:
        paper = "Letter" if unit == "in" else "A4"
    layout = CardLayout(paper)
    pages = [card_page(layout, unit), strip_page(layout)]
    return write_output(
        Path(path), pdf_bytes(pages, title="lightplan marker card"), replace=replace
    )


def card_page(layout: CardLayout, unit: LengthUnit = "mm") -> Page:
    """Return the card as a page to print."""
    page = Page(layout.paper)
    for number, box in layout.markers().items():
        marker(page, number, box)
    _panel(page, layout.panel())
    _patches(page, layout.patches())
    _heading(page, layout, unit)
    _ruler(page, layout.between(), unit)
    return page


# The card is laid out from its upper left corner, a page from its lower left one.


def fill(page: Page, box: Box, colour: str) -> None:
    """Fill a box, laid out from the page's upper left corner."""
    left, right = box.x_mm, box.x_mm + box.width_mm
    top, bottom = page.height - box.y_mm, page.height - box.y_mm - box.height_mm
    corners = [(left, bottom), (right, bottom), (right, top), (left, top)]
    page.shape(corners, fill=colour, colour=None)


def _line(
    page: Page, x: tuple[float, float], y: tuple[float, float], colour: str, pt: float
) -> None:
    page.line([(x[0], page.height - y[0]), (x[1], page.height - y[1])], colour=colour, width_pt=pt)


def text(
    page: Page,
    x: float,
    y: float,
    words: str,
    pt: float,
    colour: str = INK,
    *,
    bold: bool = False,
    align: Literal["left", "right"] = "left",
) -> None:
    """Write a line; y is its foot, from the page's upper edge."""
    page.text(x, page.height - y, words, size_pt=pt, colour=colour, bold=bold, align=align)


def marker(page: Page, number: int, box: Box) -> None:
    """Draw a marker."""
    modules = marker_modules(number)
    step = box.width_mm / len(modules)
    for row, line in enumerate(modules):
        start = None
        for col, black in enumerate([*line.tolist(), False]):  # runs: no hairlines between
            if black and start is None:
                start = col
            if not black and start is not None:
                run = Box(
                    box.x_mm + start * step,
                    box.y_mm + row * step,
                    (col - start) * step,
                    step + _OVERLAP_MM,
                )
                fill(page, run, "#000000")
                start = None


def grey(lightness: float) -> str:
    """Return the sRGB grey of a CIE L* (CIE 15, IEC 61966-2-1)."""
    f = (lightness + 16) / 116
    linear = f**3 if f > 6 / 29 else 3 * (6 / 29) ** 2 * (f - 4 / 29)
    code = 12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055
    return "#" + 3 * f"{round(255 * code):02x}"


def _panel(page: Page, box: Box) -> None:
    fill(page, box, grey(PANEL_LIGHTNESS))
    middle_x, middle_y = box.x_mm + box.width_mm / 2, box.y_mm + box.height_mm / 2
    for width, height, name in _SIZES_MM:
        if width > box.width_mm or height > box.height_mm:
            continue
        x, y = middle_x - width / 2, middle_y - height / 2
        _corner_marks(page, Box(x, y, width, height))
        text(page, x + 1.5, y + 3.2, name, 5.5, _MARKS)


def _corner_marks(page: Page, box: Box, length: float = 5.0) -> None:
    for x, inward in ((box.x_mm, 1), (box.x_mm + box.width_mm, -1)):
        for y, down in ((box.y_mm, 1), (box.y_mm + box.height_mm, -1)):
            _line(page, (x, x + inward * length), (y, y), _MARKS, 0.4)
            _line(page, (x, x), (y, y + down * length), _MARKS, 0.4)


def _patches(page: Page, boxes: list[Box]) -> None:
    for lightness, box in zip(PATCH_LIGHTNESS, boxes, strict=True):
        fill(page, box, grey(lightness))
        words = f"L* {lightness:.0f}"
        colour = INK if lightness > 55 else _LIGHT
        text(page, box.x_mm + 1.2, box.y_mm + box.height_mm - 1.4, words, 5.5, colour)


def _heading(page: Page, layout: CardLayout, unit: LengthUnit) -> None:
    strip = layout.between()
    text(page, strip.x_mm, strip.y_mm + 3.6, "Marker card", 12, bold=True)
    text(page, strip.x_mm + 31, strip.y_mm + 3.6, f"lightplan, {layout.paper}", 7, _PALE)
    check = "4 inches" if unit == "in" else "100 mm"
    for line, words in enumerate(
        (
            f"Print at 100 %, not fitted to the page; the ruler must measure {check}. "
            "Lay the sheet on the grey,",
            "leave all four markers in view. Greys are nominal: "
            "use them for the light's colour and for drift.",
        )
    ):
        text(page, strip.x_mm, strip.y_mm + 6.9 + 2.5 * line, words, 5.3, _PALE)


def _ruler(page: Page, strip: Box, unit: LengthUnit) -> None:
    """Draw millimetres above and inches below one line, or the other way round."""
    x, y = strip.x_mm + 1.0, strip.y_mm + 15.0
    length = 4 * 25.4 if unit == "in" else 100.0
    _line(page, (x, x + length), (y, y), INK, 0.5)
    up, down = (_inches, _millimetres) if unit == "in" else (_millimetres, _inches)
    up(page, x, y, -1, length)
    down(page, x, y, 1, length)


def _millimetres(page: Page, x: float, y: float, way: int, length: float) -> None:
    for tick in range(int(length) + 1):
        high = 2.6 if tick % 10 == 0 else 1.9 if tick % 5 == 0 else 1.2
        _line(page, (x + tick, x + tick), (y, y + way * high), INK, 0.35)
        if tick % 10 == 0 and tick:
            _number(page, x + tick, y, way, str(tick))
    _number(page, x + length + 5, y, way, "mm")


def _inches(page: Page, x: float, y: float, way: int, length: float) -> None:
    for tick in range(int(length / 25.4 * 16) + 1):
        high = 2.6 if tick % 16 == 0 else 1.9 if tick % 8 == 0 else 1.2
        place = x + tick * 25.4 / 16
        _line(page, (place, place), (y, y + way * high), INK, 0.35)
        if tick % 16 == 0 and tick:
            _number(page, place, y, way, str(tick // 16))
    _number(page, x + length + 5, y, way, "in")


def _number(page: Page, x: float, y: float, way: int, words: str) -> None:
    text(page, x - 0.5, y + (4.9 if way > 0 else -1.9), words, 4.8, _PALE, align="right")
