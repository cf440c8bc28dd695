"""The foil strip's slips as a page to print and cut out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.reports.print.card_page import fill, grey, marker, text
from lightplan.reports.print.page import INK, Page
from lightplan.shots.sheet.card import PAGES_MM, PANEL_LIGHTNESS, Box, Paper
from lightplan.shots.sheet.strip_layout import (
    ACROSS,
    ALONG,
    CHECK_MM,
    LENGTH_MM,
    WIDTH_MM,
    foil_place,
    strip_markers,
)

if TYPE_CHECKING:
    from lightplan.shots.sheet.card import CardLayout

COUNT, APART_MM, TOP_MM = 3, 14.0, 34.0
_PALE, _WHITE, _QUIET_MM = "#6b6b6b", "#ffffff", 2.5
WORDS = (
    "Cut out one slip for each foil. Glue an offcut of it over the checks, 12 mm wide and flat;",
    "what stays bare is left out. Of brushed foil the brush must run as on the product where the",
    "slip lies. Lay it flat beside the sheet, in its plane, one end to it and leading away. Keep",
    "the lens where it is, and zoom out until both markers are seen: lightplan advise reads it.",
)


def strip_page(layout: CardLayout) -> Page:
    """Return a page with slips to cut out, of the size of a card's page."""
    page = Page(layout.paper)
    text(page, 15.0, 13.0, "Foil strip", 12, bold=True)
    text(page, 39.0, 13.0, f"lightplan, {layout.paper}, print at 100 %", 7, _PALE)
    for line, words in enumerate(WORDS):
        text(page, 15.0, 17.5 + 3.4 * line, words, 7, INK)
    for box in slips(layout.paper):
        _slip(page, box)
    return page


def slips(paper: Paper) -> list[Box]:
    """Return where the slips are on the page."""
    whole = COUNT * WIDTH_MM + (COUNT - 1) * APART_MM
    left = (PAGES_MM[paper][0] - whole) / 2
    step = WIDTH_MM + APART_MM
    return [Box(left + i * step, TOP_MM, WIDTH_MM, LENGTH_MM) for i in range(COUNT)]


def _slip(page: Page, box: Box) -> None:
    fill(page, box, grey(PANEL_LIGHTNESS))
    for number, one in strip_markers().items():
        there = _moved(one, box)
        fill(page, _larger(there, _QUIET_MM), _WHITE)
        marker(page, number, there)
    place = _moved(foil_place(), box)
    fill(page, place, _WHITE)
    for row in range(ALONG):
        for col in range(ACROSS):
            if (row + col) % 2:
                x, y = place.x_mm + col * CHECK_MM, place.y_mm + row * CHECK_MM
                fill(page, Box(x, y, CHECK_MM, CHECK_MM), "#000000")


def _moved(one: Box, by: Box) -> Box:
    return Box(one.x_mm + by.x_mm, one.y_mm + by.y_mm, one.width_mm, one.height_mm)


def _larger(one: Box, by: float) -> Box:
    return Box(one.x_mm - by, one.y_mm - by, one.width_mm + 2 * by, one.height_mm + 2 * by)
