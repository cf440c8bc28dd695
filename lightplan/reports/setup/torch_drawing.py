"""The torch test on paper: small drawings of the cards with the marks to expect."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.reports.print.page import Page, text_width
from lightplan.reports.print.table import paragraph, paragraph_height, table, table_height
from lightplan.reports.setup.torch import POINT_NAMES, TorchTarget, TorchTest
from lightplan.units import LengthUnit, show_length

if TYPE_CHECKING:
    from collections.abc import Sequence

GAP_MM = 5.0
BESIDE_MM = 4.0  # between a drawn card and its table
LETTER_MM = 5.0
LETTER_HIGH_MM = 2.3
MOST_COLUMNS = 3


def torch_notes(test: TorchTest) -> list[str]:
    """Return what to do and what to expect, as paragraphs."""
    notes = [
        "Darken the room. Hold a small torch (never a laser) where the lens is and point it at the "
        "sheet. Lay a scrap of flat foil or a small flat mirror on each point in turn and look "
        "where its bright spot lands. All spots off the same way: correct the card (or the "
        "camera). One corner off: the sheet is not flat there.",
        "Points of the sheet: "
        + ", ".join(f"{letter} {name}" for letter, name in POINT_NAMES.items())
        + ".",
    ]
    where: dict[str, list[str]] = {}
    for spot in test.elsewhere:
        where.setdefault(spot.where, []).append(spot.letter)
    notes += [f"{', '.join(letters)}: the spot goes {place}." for place, letters in where.items()]
    return notes


def _rows(target: TorchTarget, unit: LengthUnit) -> list[list[str]]:
    lower = "From near edge" if target.is_level else "From lower edge"
    rows = [["", "From left edge", lower]]
    return rows + [
        [s.letter, show_length(s.from_left_mm, unit), show_length(s.from_lower_mm, unit)]
        for s in target.spots
    ]


def _view_words(target: TorchTarget) -> str:
    return (
        "seen from above (near edge: next to you)"
        if target.is_level
        else "as you look at its front"
    )


def _drawn(width: float) -> float:
    """Return the largest side of a drawn card in a column, mm of paper."""
    return 0.4 * width


def _scale(target: TorchTarget, width: float) -> float:
    return _drawn(width) / max(target.width_mm, target.height_mm)


def _widths(width: float) -> list[float]:
    rest = width - _drawn(width) - BESIDE_MM - LETTER_MM
    return [LETTER_MM, rest / 2, rest / 2]


def _block_height(target: TorchTarget, width: float, unit: LengthUnit) -> float:
    drawn = target.height_mm * _scale(target, width)
    told = f"{target.name}, {_view_words(target)}"
    title = paragraph_height(told, width, bold=True)
    return title + max(drawn, table_height(_rows(target, unit), _widths(width))) + 3.0


def _columns(targets: Sequence[TorchTarget], width: float) -> tuple[int, float]:
    """Return how many stand side by side, and how wide each may be."""
    count = min(max(len(targets), 2), MOST_COLUMNS)
    return count, (width - (count - 1) * GAP_MM) / count


def targets_height(targets: Sequence[TorchTarget], width: float, unit: LengthUnit) -> float:
    """Return how much room the drawings take, mm."""
    count, column = _columns(targets, width)
    heights = [_block_height(t, column, unit) for t in targets]
    return sum(max(heights[i : i + count]) for i in range(0, len(heights), count))


def draw_targets(
    page: Page,
    left: float,
    top: float,
    width: float,
    targets: Sequence[TorchTarget],
    unit: LengthUnit,
) -> float:
    """Draw every card with its marks; return the y below."""
    count, column = _columns(targets, width)
    y = top
    for first in range(0, len(targets), count):
        row = targets[first : first + count]
        for place, target in enumerate(row):
            _draw(page, left + place * (column + GAP_MM), y, column, target, unit)
        y -= max(_block_height(t, column, unit) for t in row)
    return y


def _draw(
    page: Page, left: float, top: float, width: float, target: TorchTarget, unit: LengthUnit
) -> None:
    told = f"{target.name}, {_view_words(target)}"
    y = paragraph(page, left, top - 1.0, told, width, bold=True) - 1.0
    scale = _scale(target, width)
    wide, high = target.width_mm * scale, target.height_mm * scale
    x0, y0 = left + (_drawn(width) - wide) / 2, y - high
    page.shape([(x0, y0), (x0 + wide, y0), (x0 + wide, y), (x0, y)], fill="#fbfbfc", width_pt=0.9)
    if target.hole is not None:
        x, z, diameter = target.hole
        page.dot(x0 + x * scale, y0 + z * scale, max(diameter * scale / 2, 0.4), fill=None)
    marks = {
        s.letter: (x0 + s.from_left_mm * scale, y0 + s.from_lower_mm * scale) for s in target.spots
    }
    for letter, (x, z) in marks.items():
        page.dot(x, z, 0.7, fill="#c2001a", colour="#c2001a")
        _letter(page, letter, x, z, (x0, y0, x0 + wide, y0 + high))
    table(
        page,
        left + _drawn(width) + BESIDE_MM,
        y,
        _rows(target, unit),
        _widths(width),
        bold_column=0,
    )


def _letter(
    page: Page, letter: str, x: float, y: float, frame: tuple[float, float, float, float]
) -> None:
    """Write a spot's letter beside it, away from the card's middle."""
    way_x = -1 if x < (frame[0] + frame[2]) / 2 - 0.5 else 1
    way_y = -1 if y < (frame[1] + frame[3]) / 2 - 0.5 else 1
    if letter == "C":
        way_x, way_y = 1, 1
    wide = text_width(letter, bold=True)
    if not frame[0] + wide + 2.0 < x < frame[2] - wide - 2.0:
        way_x = -way_x  # no room between the spot and the card's side
    left = x + way_x * 1.2 - (wide if way_x < 0 else 0.0)
    low = min(max(y + way_y * 1.2 - 1.0, frame[1] + 0.8), frame[3] - LETTER_HIGH_MM - 0.8)
    page.text(left, low, letter, bold=True)
