"""Blocks that follow one another down the pages."""

from __future__ import annotations

from dataclasses import dataclass, field

from lightplan.reports.print.page import MARGIN_MM, Page, paper_size

FOOT_MM = 5.0
GAP_MM = 3.0  # between blocks


@dataclass
class Flow:
    """Puts blocks one under the other and starts a page when the next one does not fit.

    Attributes
    ----------
    paper : str
    y : float
        Where the next block begins. [mm from the lower edge]
    """

    paper: str
    pages: list[Page] = field(default_factory=list)
    y: float = 0.0

    def room(self, height: float) -> Page:
        """Return the page that has `height` mm left below `y`, a new one if need be."""
        if not self.pages or self.y - height < MARGIN_MM + FOOT_MM:
            self.pages.append(Page(self.paper))
            self.y = self.pages[-1].height - MARGIN_MM
        return self.pages[-1]

    @property
    def left(self) -> float:
        """Where text begins, mm."""
        return MARGIN_MM

    @property
    def width(self) -> float:
        """Room between the margins, mm."""
        return paper_size(self.paper)[0] - 2 * MARGIN_MM
