"""Full-size outlines of everything that is cut, on as many sheets of paper as they need.

The pages of one piece overlap by 10 mm. Pages with nothing to cut are left out; dashed
lines to a hole keep its page joined to the rim.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from lightplan.errors import BadInput
from lightplan.manifest import write_output
from lightplan.reports.print.page import FAINT, MARGIN_MM, RULE, Page, pdf_bytes, text_width, wrap
from lightplan.reports.print.table import heading, paragraph
from lightplan.reports.setup.cuts import Cut, cut_size, cuts_of, hole_words
from lightplan.reports.setup.tiles import (
    FOOT_MM,
    OVERLAP_MM,
    SIDE_MM,
    Tile,
    Tiling,
    cut_lines,
    tiling,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightplan.scene import Rig
    from lightplan.units import LengthUnit

RULER_MM = 100.0
MAP_MM = 42.0  # largest side of a page map
MOST_PAGES = 400
LONGEST_MM = 10_000.0
JOINT = "#1d4ed8"
SIDES = ((-1, 0), (0, -1), (1, 0), (0, 1))  # left, below, right, above: columns, rows
Frame: TypeAlias = tuple[float, float, float, float]  # left, bottom, right, top in mm
HEADING_LEFT_MM = 8.0  # clear of the crop mark


def write_template_pdf(
    path: Path, rig: Rig, *, paper: str = "A4", unit: LengthUnit = "mm", replace: bool = False
) -> Path:
    """Write full-size outlines of a rig's cards and shells as a PDF, whole or not at all.

    Parameters
    ----------
    path : Path
    rig : Rig
    paper : str
        "A4" or "Letter".
    unit : str
        In which lengths are shown; the outlines are the same.
    replace : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    BadInput
        Nothing is to be cut, another paper, too large a piece, more than 400 pages, or a file
        that cannot be written.
    """
    pages = template_pages(rig, paper=paper, unit=unit)
    return write_output(path, pdf_bytes(pages, title=f"Template: {rig.title}"), replace=replace)


def template_pages(rig: Rig, *, paper: str = "A4", unit: LengthUnit = "mm") -> list[Page]:
    """Return the overview and the tile pages."""
    pieces = cuts_of(rig, unit)
    if not pieces:
        raise BadInput(
            field="cards",
            wanted="at least one to cut",
            got="none",
            cure="add a card to the rig, or leave the template out",
        )
    tilings = _tilings(pieces, paper)
    pages = _overview(rig, tilings, paper, unit)
    for each in tilings:
        pages += [_tile_page(each, tile, paper, unit) for tile in each.tiles]
    for number, page in enumerate(pages, 1):
        page.text(
            page.width - MARGIN_MM,
            8.0,
            f"page {number} of {len(pages)}",
            colour=FAINT,
            align="right",
        )
    return pages


def _tilings(pieces: Sequence[Cut], paper: str) -> list[Tiling]:
    cure = "measure the large pieces out with a tape instead"
    longest = max(max(cut.width_mm, cut.height_mm) for cut in pieces)
    if longest > LONGEST_MM:
        raise BadInput(
            field="template",
            wanted=f"of pieces of at most {LONGEST_MM:.0f} mm",
            got=f"{longest:.0f} mm",
            cure=cure,
        )
    tilings = [tiling(cut, paper) for cut in pieces]
    count = sum(len(t.tiles) for t in tilings)
    if count > MOST_PAGES:
        raise BadInput(
            field="template", wanted=f"at most {MOST_PAGES} pages", got=f"{count} pages", cure=cure
        )
    return tilings


def _overview(rig: Rig, tilings: Sequence[Tiling], paper: str, unit: LengthUnit) -> list[Page]:
    """Return the first pages: what to check, then each piece with the map of its pages."""
    page = Page(paper)
    pages, width = [page], page.width - 2 * MARGIN_MM
    y = page.height - MARGIN_MM
    for line in wrap(f"Template: {rig.title}", width, 14.0, bold=True)[:3]:
        page.text(MARGIN_MM, y - 4.4, line, size_pt=14.0, bold=True)
        y -= 6.4
    y = paragraph(
        page,
        MARGIN_MM,
        y - 1.0,
        "Print at 100 % (“actual size”, no “fit to page”), then measure the line below: it must "
        "be exactly 100 mm (3.94 in) long. If it is not, the outlines are wrong as well.",
        width,
        bold=True,
    )
    _ruler(page, MARGIN_MM + 2.0, y - 12.0)
    y = paragraph(
        page,
        MARGIN_MM,
        y - 16.0,
        "Lay the pages of a piece as its map shows, letters from left to right, numbers from the "
        "lower edge up. Neighbours overlap by 10 mm: trim one of them along its dashed line (from "
        "crop mark to crop mark), lay that edge on the dashed line of the other, and tape them. "
        "Pages with nothing to cut are not printed (grey in the map). Cut along the thick line; "
        "all pieces are seen from their front.",
        width,
    )
    for each in tilings:
        high = _map_height(each) + 22.0
        if y - high < MARGIN_MM + 6.0:
            page = Page(paper)
            pages.append(page)
            y = page.height - MARGIN_MM
        y = _piece(page, each, y - 3.0, width, unit)
    return pages


def _ruler(page: Page, x: float, y: float) -> None:
    """Draw the control line of 100 mm with a mark every 10 mm."""
    page.line([(x, y), (x + RULER_MM, y)], width_pt=0.8)
    for mark in range(11):
        long = 3.0 if mark % 5 == 0 else 1.8
        page.line([(x + 10 * mark, y), (x + 10 * mark, y + long)], width_pt=0.6)
    page.text(x + RULER_MM + 3.0, y, "100 mm (3.94 in): check this ruler")


def _map_scale(each: Tiling) -> float:
    return MAP_MM / max(each.columns * each.width, each.rows * each.height)


def _map_height(each: Tiling) -> float:
    return each.rows * (each.height - OVERLAP_MM) * _map_scale(each) + 4.0


def _piece(page: Page, each: Tiling, top: float, width: float, unit: LengthUnit) -> float:
    """Set one piece of the overview: map of its pages and what it is; return the y below."""
    cut = each.cut
    y = heading(page, MARGIN_MM, top, ", ".join(cut.names)[:90], width) - 1.0
    scale = _map_scale(each)
    _page_map(page, each, MARGIN_MM, y, scale)
    words = [
        f"{cut.kind}, {cut_size(cut, unit)}, cut {cut.count}",
        f"{len(each.tiles)} pages of {each.columns} x {each.rows}",
    ]
    if cut.hole is not None:
        words.append(f"hole {hole_words(cut, unit)}")
    if cut.remark:
        words.append(cut.remark)
    text_y = y
    for text in words:
        text_y = paragraph(page, MARGIN_MM + MAP_MM + 8.0, text_y, text, width - MAP_MM - 8.0)
    return min(text_y, y - _map_height(each)) - 2.0


def _page_map(page: Page, each: Tiling, x: float, top: float, scale: float) -> None:
    step = (each.width - OVERLAP_MM, each.height - OVERLAP_MM)
    printed = {(tile.column, tile.row): tile for tile in each.tiles}
    low = top - each.rows * step[1] * scale
    for column in range(each.columns):
        for row in range(each.rows):
            left, bottom = x + column * step[0] * scale, low + row * step[1] * scale
            right, upper = left + step[0] * scale, bottom + step[1] * scale
            corners = [(left, bottom), (right, bottom), (right, upper), (left, upper)]
            tile = printed.get((column, row))
            fill = "#ffffff" if tile else "#ececef"
            page.shape(corners, fill=fill, colour=RULE, width_pt=0.5, over=1)
            if tile and step[0] * scale > 6.0 and step[1] * scale > 4.0:
                _tile_name(page, (left + right) / 2, (bottom + upper) / 2, tile.name)
    shift = np.array([x, low]) - scale * (np.array(each.start_mm) + OVERLAP_MM / 2)
    page.shape(each.cut.outline_mm * scale + shift, fill=None, width_pt=1.0, over=3)


def _tile_name(page: Page, x: float, y: float, name: str) -> None:
    """Write a page's name on a patch of white, so that no line runs through it."""
    half = text_width(name) / 2 + 0.5
    patch = [(x - half, y - 1.6), (x + half, y - 1.6), (x + half, y + 1.6), (x - half, y + 1.6)]
    page.shape(patch, fill="#ffffff", colour="#ffffff", width_pt=0.0, over=4)
    page.text(x, y - 1.0, name, align="center")


def _tile_page(each: Tiling, tile: Tile, paper: str, unit: LengthUnit) -> Page:
    page = Page(paper)
    left, bottom = SIDE_MM, FOOT_MM
    frame = (left, bottom, left + each.width, bottom + each.height)
    shift = np.array([left - tile.left, bottom - tile.bottom])
    rim, *others = cut_lines(each.cut)
    page.shape(rim[:-1] + shift, fill=None, width_pt=1.2, within=frame, over=4)
    for number, line in enumerate(others):
        page.line(
            line + shift,
            width_pt=1.2 if number == 0 else 0.5,
            within=frame,
            over=4,
            dashes=() if number == 0 else (6, 4),
        )
    _joints(page, each, tile, frame)
    _crop_marks(page, frame, _trim(each, tile, frame))
    cut = each.cut
    told = f"{', '.join(cut.names)}: {cut_size(cut, unit)}"
    y = page.height - MARGIN_MM
    page.text(left + HEADING_LEFT_MM, y - 3.0, f"Page {tile.name}", size_pt=11.0, bold=True)
    page.text(left + 36.0, y - 3.0, wrap(told, each.width - 46.0)[0])
    _ruler(page, MARGIN_MM, 11.0)
    return page


def _trim(each: Tiling, tile: Tile, frame: Frame) -> Frame:
    """Return where the page is trimmed: half an overlap in from the sides with a neighbour."""
    taken = {(t.column, t.row) for t in each.tiles}
    half = OVERLAP_MM / 2
    joined = [(tile.column + a, tile.row + u) in taken for a, u in SIDES]
    ways = (1, 1, -1, -1)
    left, bottom, right, top = (
        edge + way * half * join for edge, way, join in zip(frame, ways, joined, strict=True)
    )
    return (left, bottom, right, top)


def _joints(page: Page, each: Tiling, tile: Tile, frame: Frame) -> None:
    """Dash where the page meets its neighbours, and name them beside the drawing."""
    left, bottom, right, top = frame
    trim = _trim(each, tile, frame)
    printed = {(t.column, t.row): t for t in each.tiles}
    middle = ((left + right) / 2, (bottom + top) / 2)
    labels = (
        (left - 4.0, middle[1]),
        (middle[0], bottom - 4.5),
        (right + 4.0, middle[1]),
        (middle[0], top + 1.8),
    )
    for (across, up), edge, (x, y) in zip(SIDES, trim, labels, strict=True):
        other = printed.get((tile.column + across, tile.row + up))
        if other is None:
            continue
        ends = [(edge, bottom), (edge, top)] if across else [(left, edge), (right, edge)]
        page.line(ends, colour=JOINT, width_pt=0.6, dashes=(4, 3), over=3)
        words = f"{other.name} joins here"
        page.text(x, y, words, colour=JOINT, align="center", upwards=bool(across))


def _crop_marks(page: Page, frame: Frame, trim: Frame) -> None:
    """Mark, outside what the page shows, where it is trimmed."""
    left, bottom, right, top = frame
    for x in (trim[0], trim[2]):
        page.line([(x, bottom - 1.0), (x, bottom - 5.0)], width_pt=0.5)
        page.line([(x, top + 1.0), (x, top + 5.0)], width_pt=0.5)
    for y in (trim[1], trim[3]):
        page.line([(left - 1.0, y), (left - 5.0, y)], width_pt=0.5)
        page.line([(right + 1.0, y), (right + 5.0, y)], width_pt=0.5)
