"""The block of cautions, on whatever is printed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.reports.print.page import line_height
from lightplan.reports.print.table import HEADING_MM, heading, paragraph, paragraph_height

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.reports.print.flow import Flow

INDENT_MM, BETWEEN_MM = 4.0, 0.4


def cautions(flow: Flow, listed: Sequence[str]) -> None:
    """Set the cautions, one below the other on one page."""
    wide = flow.width - INDENT_MM
    height = sum(paragraph_height(text, wide) + BETWEEN_MM for text in listed)
    page = flow.room(HEADING_MM + height)
    flow.y = heading(page, flow.left, flow.y, "Take care", flow.width)
    for text in listed:
        page.text(flow.left, flow.y - 0.78 * line_height(), "•")
        flow.y = paragraph(page, flow.left + INDENT_MM, flow.y, text, wide) - BETWEEN_MM
