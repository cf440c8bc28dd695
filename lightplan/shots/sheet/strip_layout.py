"""The foil strip: a slip of paper on which a strip of the sheet's own foil is glued.

Two markers tell where it lies beside the sheet. Between them checks are printed: what is not
covered by foil shows them, so an offcut of any length will do.
"""

from __future__ import annotations

from lightplan.shots.sheet.card import Box

WIDTH_MM, LENGTH_MM = 26.0, 223.0
"""Of the slip; three lie side by side on A4 and on Letter."""
MARKER_MM, EDGE_MM = 18.0, 4.0
CHECK_MM, ALONG, ACROSS = 3.0, 56, 4
"""Side of a check, and how many of them lie along the slip and across it."""
FIRST_NUMBER = 48
"""Of its two markers; the next one is at the other end."""


def strip_markers() -> dict[int, Box]:
    """Return the markers by number, from the slip's upper left corner; it stands on end."""
    low = LENGTH_MM - EDGE_MM - MARKER_MM
    return {
        FIRST_NUMBER + i: Box(EDGE_MM, y, MARKER_MM, MARKER_MM)
        for i, y in enumerate((EDGE_MM, low))
    }


def foil_place() -> Box:
    """Return where the foil is glued, from the slip's upper left corner."""
    wide, high = ACROSS * CHECK_MM, ALONG * CHECK_MM
    return Box((WIDTH_MM - wide) / 2, (LENGTH_MM - high) / 2, wide, high)
