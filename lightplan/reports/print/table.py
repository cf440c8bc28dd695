"""Tables and running text on a printed page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.reports.print.page import FAINT, INK, RULE, TEXT_PT, Page, line_height, wrap

if TYPE_CHECKING:
    from collections.abc import Sequence

CELL_MM = 1.2  # between a rule and the text, both sides together
GUTTER_MM = 2.4  # between columns


def table_height(
    rows: Sequence[Sequence[str]], widths: Sequence[float], size_pt: float = TEXT_PT
) -> float:
    """Return how high a table will be, mm."""
    return sum(
        _row_height(row, widths, size_pt, bold=number == 0) for number, row in enumerate(rows)
    )


def _row_height(
    row: Sequence[str], widths: Sequence[float], size_pt: float, *, bold: bool
) -> float:
    lines = max(
        len(wrap(cell, width - GUTTER_MM, size_pt, bold=bold))
        for cell, width in zip(row, widths, strict=True)
    )
    return lines * line_height(size_pt) + CELL_MM


def table(
    page: Page,
    left: float,
    top: float,
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    *,
    size_pt: float = TEXT_PT,
    bold_column: int | None = None,
) -> float:
    """Set a table with a heading row; return the y below it."""
    step = line_height(size_pt)
    right = left + sum(widths)
    y = top
    for number, row in enumerate(rows):
        x = left
        for column, (cell, width) in enumerate(zip(row, widths, strict=True)):
            bold = number == 0
            base = y - 0.5 * CELL_MM - 0.78 * step
            for line in wrap(cell, width - GUTTER_MM, size_pt, bold=bold):
                page.text(
                    x,
                    base,
                    line,
                    size_pt=size_pt,
                    bold=bold or column == bold_column,
                    colour=FAINT if number == 0 else INK,
                )
                base -= step
            x += width
        y -= _row_height(row, widths, size_pt, bold=number == 0)
        page.line([(left, y), (right, y)], colour=RULE, width_pt=0.5)
    return y


def paragraph(
    page: Page,
    left: float,
    top: float,
    text: str,
    width: float,
    *,
    size_pt: float = TEXT_PT,
    bold: bool = False,
    colour: str = INK,
) -> float:
    """Set wrapped text; return the y below it."""
    step = line_height(size_pt)
    y = top
    for line in wrap(text, width, size_pt, bold=bold):
        page.text(left, y - 0.78 * step, line, size_pt=size_pt, bold=bold, colour=colour)
        y -= step
    return y


def paragraph_height(
    text: str, width: float, size_pt: float = TEXT_PT, *, bold: bool = False
) -> float:
    """Return how high wrapped text will be, mm."""
    return len(wrap(text, width, size_pt, bold=bold)) * line_height(size_pt)


def heading(page: Page, left: float, top: float, text: str, width: float) -> float:
    """Set a heading with a rule under it; return the y below it."""
    page.text(left, top - 3.6, text, size_pt=10.0, bold=True)
    page.line([(left, top - 5.0), (left + width, top - 5.0)], colour=INK, width_pt=0.8)
    return top - 6.0


HEADING_MM = 6.0
