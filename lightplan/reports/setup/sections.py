"""The written parts of a setup sheet, from its title to its cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lightplan.reports.print.flow import GAP_MM, Flow
from lightplan.reports.print.page import FAINT, INK, MARGIN_MM, Page, line_height, text_width, wrap
from lightplan.reports.print.table import (
    HEADING_MM,
    heading,
    paragraph,
    paragraph_height,
    table,
    table_height,
)
from lightplan.reports.setup.camera_settings import exposure_lines
from lightplan.reports.setup.cuts import board_for, cut_size, cuts_of, hole_words
from lightplan.reports.setup.elements import PROP_KINDS, Element, size_words
from lightplan.reports.setup.torch import torch_test
from lightplan.reports.setup.torch_drawing import draw_targets, targets_height, torch_notes
from lightplan.units import LengthUnit, show_length
from lightplan.words.places import away_towards, left_right

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightplan.reports.setup.facts import SetupFacts
    from lightplan.reports.setup.map import GlarePicture
    from lightplan.reports.setup.steps import Step
    from lightplan.scene import Rig

Codes = NDArray[np.uint8]
TITLE_PT = 14.0
SAME_LEVEL_MM = 2.0  # a sheet so little above its table is measured as if it lay on it
NAME_MM = 28.0
MOST_NAME_MM = 60.0
LEGEND_MM = 34.0
SWATCH_MM = 3.0


def title(flow: Flow, rig: Rig, facts: SetupFacts) -> None:
    """Set the title, what is promised, and how to read the measures."""
    page = flow.room(30)
    for line in wrap(rig.title, flow.width, TITLE_PT, bold=True)[:3]:
        page.text(flow.left, flow.y - 4.4, line, size_pt=TITLE_PT, bold=True)
        flow.y -= line_height(TITLE_PT)
    words = f"Setup sheet. Look: {rig.look.kind}."
    if facts.score is not None:
        words += f" Predicted score: {facts.score:.0f} of 100."
    if facts.yield_share is not None:
        words += f" {100 * facts.yield_share:.0f} of 100 careful builds {_right(facts)}."
    if facts.is_changed:
        words += (
            " The rig was changed after it was planned: how exactly it must stand, and how many "
            "builds come out right, is not known until it is planned again."
        )
    words += (
        " All places are measured from the cross of tape on the table to the middle of each face "
        "(camera: to the lens; whatever stands on a foot: to the middle of its foot)."
    )
    drop = 0.0 if rig.room.table is None else rig.room.table.drop_mm
    words += (
        " Heights are from the table top."
        if drop <= SAME_LEVEL_MM
        else f" Heights are from the sheet, which lies {drop:.0f} mm above the table top."
    )
    flow.y = paragraph(page, flow.left, flow.y - 0.5, words, flow.width) - GAP_MM


def _right(facts: SetupFacts) -> str:
    """Return what counts as right; a plan that is none to keep promises no more than points."""
    if facts.good_score is None:
        return "come out right"
    if facts.is_kept:
        return f"come out right ({facts.good_score:.0f} or more)"
    return f"keep {facts.good_score:.0f} points or more"


def element_table(flow: Flow, rig: Rig, elements: Sequence[Element], unit: LengthUnit) -> None:
    """Set the table of everything that is to be placed."""
    rows = [
        [
            "No",
            "What",
            "Left / right of the cross",
            "Away / towards you",
            "Height of its middle",
            "Height of its edges",
            "How it stands",
        ]
    ]
    rows += [_element_row(element, unit) for element in elements]
    nothing = show_length(0.0, unit)
    size = size_words(rig.sheet.width_mm, rig.sheet.height_mm, unit)
    rows.append(["", f"sheet: {size}", nothing, nothing, nothing, "", "flat, middle on the cross"])
    widths = _shares([0.045, 0.23, 0.12, 0.125, 0.105, 0.13, 0.245], flow.width)
    page = flow.room(table_height(rows, widths))
    flow.y = table(page, flow.left, flow.y, rows, widths, bold_column=0) - GAP_MM


def _element_row(element: Element, unit: LengthUnit) -> list[str]:
    x, y, z = element.position_mm
    named = element.name if element.name == element.kind else f"{element.name}: {element.kind}"
    what = f"{named}, {element.size}"
    high, edges = show_length(z, unit), _edges(element, unit)
    if element.kind == "camera":
        high, edges = f"{high} (lens)", ""
    elif element.kind in ("cone", "tent", *PROP_KINDS):
        high = f"{high} (foot)"
    return [
        str(element.number),
        what,
        left_right(x, unit),
        away_towards(y, unit),
        high,
        edges,
        element.stance,
    ]


def _edges(element: Element, unit: LengthUnit) -> str:
    low, high = (show_length(max(v, 0.0), unit) for v in (element.lowest_mm, element.highest_mm))
    return low if low == high else f"{low.removesuffix(f' {unit}')} to {high}"


def _shares(shares: Sequence[float], width: float) -> list[float]:
    return [width * share / sum(shares) for share in shares]


def steps(flow: Flow, listed: Sequence[Step], care: str) -> None:
    """Set the build order with its tolerances."""
    names = [f"{number}  {step.name}" for number, step in enumerate(listed, 1)]
    name_wide = min(48.0, max(text_width(name, bold=True) for name in names) + 3.0)
    text_wide = flow.width - name_wide
    texts = [s.text + (f" Tolerance: {s.tolerance}." if s.tolerance else "") for s in listed]
    heights = [
        max(paragraph_height(t, text_wide), paragraph_height(n, name_wide - 2, bold=True)) + 0.6
        for n, t in zip(names, texts, strict=True)
    ]
    page = flow.room(HEADING_MM + paragraph_height(care, flow.width) + heights[0] + 2.0)
    flow.y = heading(page, flow.left, flow.y, "Build in this order", flow.width)
    flow.y = paragraph(page, flow.left, flow.y, care, flow.width) - 1.0
    for name, text, height in zip(names, texts, heights, strict=True):
        page = flow.room(height)
        paragraph(page, flow.left, flow.y, name, name_wide - 2, bold=True)
        paragraph(page, flow.left + name_wide, flow.y, text, text_wide)
        flow.y -= height
    flow.y -= GAP_MM


def cuts(flow: Flow, rig: Rig, unit: LengthUnit) -> None:
    """Set the list of pieces to cut."""
    pieces = cuts_of(rig, unit)
    if not pieces:
        return
    rows = [
        ["Piece", "Number", "Material", "Width x height", "Board", "Hole, as you look at the front"]
    ]
    for cut in pieces:
        hole = hole_words(cut, unit)
        if cut.remark:
            hole = cut.remark if cut.hole is None else f"{hole}; {cut.remark}"
        rows.append(
            [
                ", ".join(cut.names),
                str(cut.count),
                cut.kind,
                cut_size(cut, unit),
                board_for(cut, unit),
                hole,
            ]
        )
    widths = _shares([0.21, 0.085, 0.19, 0.155, 0.12, 0.24], flow.width)
    page = flow.room(HEADING_MM + table_height(rows, widths))
    flow.y = heading(page, flow.left, flow.y, "Cut these", flow.width)
    flow.y = table(page, flow.left, flow.y, rows, widths) - GAP_MM


def torch(flow: Flow, rig: Rig, unit: LengthUnit) -> None:
    """Set the torch test with its drawings."""
    test = torch_test(rig, unit)
    notes = torch_notes(test)
    height = HEADING_MM + sum(paragraph_height(note, flow.width) + 0.4 for note in notes)
    page = flow.room(height + targets_height(test.targets, flow.width, unit))
    flow.y = heading(page, flow.left, flow.y, "Torch test before the first frame", flow.width)
    for note in notes:
        flow.y = paragraph(page, flow.left, flow.y, note, flow.width) - 0.4
    flow.y = draw_targets(page, flow.left, flow.y, flow.width, test.targets, unit) - GAP_MM


def camera(flow: Flow, rig: Rig, facts: SetupFacts) -> None:
    """Set the camera settings, and what is to be told of further frames or products."""
    _named_lines(flow, "Camera and first frames", exposure_lines(rig, facts))
    for note in facts.notes:
        _named_lines(flow, note.heading, note.lines)


def _named_lines(flow: Flow, told: str, lines: Sequence[tuple[str, str]]) -> None:
    longest = max(text_width(name, bold=True) for name, _ in lines) + 3.0
    name_wide = min(max(NAME_MM, longest), MOST_NAME_MM)
    wide = flow.width - name_wide
    heights = [
        max(paragraph_height(text, wide), paragraph_height(name, name_wide - 2, bold=True)) + 0.6
        for name, text in lines
    ]
    page = flow.room(HEADING_MM + sum(heights))
    flow.y = heading(page, flow.left, flow.y, told, flow.width)
    for (name, text), height in zip(lines, heights, strict=True):
        paragraph(page, flow.left, flow.y, name, name_wide - 2, bold=True)
        paragraph(page, flow.left + name_wide, flow.y, text, wide)
        flow.y -= height
    flow.y -= GAP_MM


def pictures(
    flow: Flow, picture: Codes | None, glare_map: GlarePicture | None, most_mm: float
) -> None:
    """Lay the predicted picture and the glare map side by side, at most `most_mm` high."""
    if picture is None and glare_map is None:
        return
    slot = (flow.width - 4.0) / 2
    page = flow.room(most_mm + 6.0)
    x, top, lowest = flow.left, flow.y - 5.0, flow.y
    if picture is not None:
        page.text(x, flow.y - 3.4, "Predicted picture, to compare with your frame", bold=True)
        wide = min(slot, most_mm * picture.shape[1] / picture.shape[0])
        high = wide * picture.shape[0] / picture.shape[1]
        page.picture(picture, x, top - high, wide)
        lowest = top - high
        x += slot + 4.0
    if glare_map is not None:
        page.text(x, flow.y - 3.4, "What the foil sees (sheet from above)", bold=True)
        lowest = min(lowest, _map(page, glare_map, x, top, slot, most_mm))
    flow.y = lowest - GAP_MM


def _map(
    page: Page, glare_map: GlarePicture, x: float, top: float, slot: float, most_mm: float
) -> float:
    """Lay the map with its legend beside it; return the y below."""
    rows, cols = glare_map.codes.shape[:2]
    wide = min(slot - LEGEND_MM - 2.0, most_mm * cols / rows)
    high = wide * rows / cols
    page.picture(glare_map.codes, x, top - high, wide)
    left, y = x + wide + 3.0, top
    for colour, words in glare_map.legend:
        corner = (left, y - 0.6 - SWATCH_MM)
        rim = [
            corner,
            (corner[0] + SWATCH_MM, corner[1]),
            (corner[0] + SWATCH_MM, y - 0.6),
            (corner[0], y - 0.6),
        ]
        if y - top < -most_mm + 2 * line_height():
            break  # the smallest shares come last
        page.shape(rim, fill="#{:02x}{:02x}{:02x}".format(*colour), colour=INK, width_pt=0.4)
        room = slot - wide - 3.0 - SWATCH_MM - 1.5
        y = paragraph(page, left + SWATCH_MM + 1.5, y, words, room) - 1.0
    return float(min(top - high, y))


def feet(pages: Sequence[Page], facts: SetupFacts) -> None:
    """Write the page numbers and name the rig's state."""
    told = "lightplan" + (f" {facts.tool_version}" if facts.tool_version else "")
    if facts.rig_digest:
        told += f" · rig {facts.rig_digest[:12]}"
    for number, page in enumerate(pages, 1):
        y = MARGIN_MM - 4.0
        page.text(MARGIN_MM, y, told, colour=FAINT)
        page.text(
            page.width - MARGIN_MM, y, f"page {number} of {len(pages)}", colour=FAINT, align="right"
        )
