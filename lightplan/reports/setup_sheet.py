"""The setup sheet: one or two printed pages to build a rig from."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from lightplan.errors import BadInput
from lightplan.reports.cautions import cautions_for
from lightplan.reports.setup_cuts import board_for, cut_size, cuts_of, hole_words
from lightplan.reports.setup_elements import Element, elements_of, size_words
from lightplan.reports.setup_exposure import exposure_lines
from lightplan.reports.setup_facts import NO_FACTS, SetupFacts
from lightplan.reports.setup_page import (
    FAINT,
    MARGIN_MM,
    Page,
    line_height,
    pdf_bytes,
    text_width,
    wrap,
)
from lightplan.reports.setup_steps import Step, importance, steps_of
from lightplan.reports.setup_table import (
    HEADING_MM,
    heading,
    paragraph,
    paragraph_height,
    table,
    table_height,
)
from lightplan.reports.setup_torch import torch_test
from lightplan.reports.setup_torch_drawing import draw_targets, targets_height, torch_notes
from lightplan.reports.setup_views import (
    PLAN,
    SIDE,
    View,
    caption,
    extent_of,
    label_room,
    scale_for,
)
from lightplan.safe_write import atomic_write
from lightplan.scene import Rig
from lightplan.units import LengthUnit, show_length

Codes = NDArray[np.uint8]
GAP_MM = 3.0
FOOT_MM = 5.0
VIEWS_HIGH_MM = 104.0
CAPTION_MM = 6.0
VIEW_GAP_MM = 5.0


@dataclass
class Flow:
    """Puts blocks one under the other and starts a page when the next one does not fit."""

    paper: str
    pages: list[Page]
    y: float = 0.0

    def room(self, height: float) -> Page:
        """Return the page that has `height` mm left below `y`, a new one if need be."""
        if not self.pages or self.y - height < MARGIN_MM + FOOT_MM:
            self.pages.append(Page(self.paper))
            self.y = self.pages[-1].height - MARGIN_MM
        return self.pages[-1]

    @property
    def left(self) -> float:
        """Where text begins."""
        return MARGIN_MM

    @property
    def width(self) -> float:
        """Between the margins."""
        return self.pages[-1].width - 2 * MARGIN_MM


def write_setup_pdf(
    path: Path,
    rig: Rig,
    facts: SetupFacts = NO_FACTS,
    *,
    paper: str = "A4",
    unit: LengthUnit = "mm",
    picture: Codes | None = None,
    glare_map: Codes | None = None,
    replace: bool = False,
) -> Path:
    """Write the setup sheet of a rig as a PDF, whole or not at all.

    Parameters
    ----------
    path : Path
    rig : Rig
    facts : SetupFacts
        Settings, tolerances and what is promised.
    paper : str
        "A4" or "Letter".
    unit : str
        In which lengths are shown.
    picture, glare_map : (rows, cols, 3) uint8, optional
        Predicted picture and map, sRGB codes.
    replace : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    BadInput
        Another paper, a picture that is none, or a file that cannot be written.
    """
    pages = setup_pages(rig, facts, paper=paper, unit=unit, picture=picture, glare_map=glare_map)
    return atomic_write(path, pdf_bytes(pages, title=f"Setup: {rig.title}"), replace=replace)


def setup_pages(
    rig: Rig, facts: SetupFacts = NO_FACTS, *, paper: str = "A4", unit: LengthUnit = "mm",
    picture: Codes | None = None, glare_map: Codes | None = None,
) -> list[Page]:  # fmt: skip
    """Return the pages of a setup sheet."""
    flow = Flow(paper, [])
    elements = elements_of(rig, unit)
    _title(flow, rig, facts)
    _views(flow, rig, elements, unit)
    _element_table(flow, rig, elements, unit)
    _steps(flow, steps_of(rig, elements, facts, unit), importance(rig, facts, unit))
    _cuts(flow, rig, unit)
    _torch(flow, rig, unit)
    _camera(flow, rig, facts, _pictures(picture, glare_map))
    _cautions(flow, cautions_for(rig))
    _feet(flow.pages, rig, facts)
    return flow.pages


def _title(flow: Flow, rig: Rig, facts: SetupFacts) -> None:
    page = flow.room(20)
    for line in wrap(rig.title, flow.width, 14.0, bold=True)[:3]:
        page.text(flow.left, flow.y - 4.4, line, size_pt=14.0, bold=True)
        flow.y -= line_height(14.0)
    words = f"Setup sheet. Look: {rig.look.kind}."
    if facts.score is not None:
        words += f" Predicted score: {facts.score:.0f} of 100."
    if facts.yield_share is not None:
        words += (
            f" Of builds within the usual care, {100 * facts.yield_share:.0f} % come out right."
        )
    words += (
        " All places are measured from the cross of tape on the table, to the middle of each "
        "face (for the camera: the lens); heights from the table top under the sheet."
    )
    flow.y = paragraph(page, flow.left, flow.y - 0.5, words, flow.width) - GAP_MM


def _views(flow: Flow, rig: Rig, elements: Sequence[Element], unit: LengthUnit) -> None:
    """Draw both views at one scale: side by side, or one over the other where that is larger."""
    plan, side = (extent_of(rig, elements, axes) for axes in (PLAN, SIDE))
    xs, ys, zs = ([e.position_mm[i] for e in elements] for i in range(3))
    below = max(label_room(xs, unit), label_room(ys, unit))
    beside = (label_room(ys, unit), label_room(zs, unit))
    pad = 2 * 6.0
    wide = flow.width - sum(beside) - VIEW_GAP_MM - 2 * pad
    high = VIEWS_HIGH_MM - below - CAPTION_MM - pad
    row = scale_for(wide, high, (plan.size[0] + side.size[0], max(plan.size[1], side.size[1])))
    stack_high = VIEWS_HIGH_MM + 26 - 2 * (below + CAPTION_MM + pad)
    stack = scale_for(
        flow.width - max(beside) - pad, stack_high,
        (max(plan.size[0], side.size[0]), plan.size[1] + side.size[1]),
    )  # fmt: skip
    scale = min(row, stack)
    sizes = [(e.size[0] / scale + pad, e.size[1] / scale + pad) for e in (plan, side)]
    if row <= stack:
        tall = max(size[1] for size in sizes)
        page = flow.room(tall + below + CAPTION_MM)
        bottom = flow.y - CAPTION_MM - tall
        spare = flow.width - sum(beside) - VIEW_GAP_MM - sizes[0][0] - sizes[1][0]
        x = flow.left + beside[0]
        for axes, extent, size, label in (
            (PLAN, plan, sizes[0], beside[1]), (SIDE, side, sizes[1], 0.0)
        ):  # fmt: skip
            frame = (x, bottom, x + size[0] + spare / 2, bottom + tall)
            _view(page, axes, frame, scale, extent, unit, rig, elements)
            x = frame[2] + VIEW_GAP_MM + label
        flow.y = bottom - below - GAP_MM
        return
    for axes, extent, size, label in (
        (PLAN, plan, sizes[0], beside[0]), (SIDE, side, sizes[1], beside[1])
    ):  # fmt: skip
        page = flow.room(size[1] + below + CAPTION_MM)
        left = flow.left + max(beside)
        top = flow.y - CAPTION_MM
        frame = (left, top - size[1], flow.left + flow.width, top)
        _view(page, axes, frame, scale, extent, unit, rig, elements)
        flow.y = frame[1] - below - GAP_MM
        del label


def _view(page, axes, frame, scale, extent, unit, rig, elements):  # type: ignore[no-untyped-def]
    view = View(page, axes, frame, scale, extent, unit)
    view.draw(rig, elements)
    caption(page, view)


def _element_table(flow: Flow, rig: Rig, elements: Sequence[Element], unit: LengthUnit) -> None:
    from lightplan.reports.setup_words import away_towards, left_right

    head = ["No", "What", "Left / right of the cross", "Away / towards you",
            "Height of its middle", "Lowest to highest edge", "How it stands"]  # fmt: skip
    rows = [head]
    for e in elements:
        x, y, z = e.position_mm
        edges = f"{show_length(max(e.lowest_mm, 0.0), unit)} to {show_length(e.highest_mm, unit)}"
        high = show_length(z, unit)
        if e.kind == "camera":
            edges, high = "", f"{high} (lens)"
        if e.kind in ("cone", "tent"):
            high = f"{high} (foot)"
        what = "camera, " + e.size if e.kind == "camera" else f"{e.name}: {e.kind}, {e.size}"
        rows.append([str(e.number), what, left_right(x, unit), away_towards(y, unit), high,
                     edges, e.stance])  # fmt: skip
    w, h = rig.sheet.width_mm, rig.sheet.height_mm
    rows.append(["", f"sheet: {size_words(w, h, unit)}", show_length(0, unit),
                 show_length(0, unit), show_length(0, unit), "", "flat, its middle on the cross"])  # fmt: skip
    widths = _share([0.035, 0.22, 0.115, 0.125, 0.115, 0.13, 0.26], flow.width)
    flow.room(min(table_height(rows, widths), 60))
    flow.y = table(flow.pages[-1], flow.left, flow.y, rows, widths, bold_column=0) - GAP_MM


def _share(shares: Sequence[float], width: float) -> list[float]:
    return [width * share / sum(shares) for share in shares]


def _steps(flow: Flow, steps: Sequence[Step], care: str) -> None:
    name_width = min(46.0, max(text_width(s.name, bold=True) for s in steps) + 10.0)
    text_wide = flow.width - name_width
    texts = [s.text + (f" Tolerance: {s.tolerance}." if s.tolerance else "") for s in steps]
    names = [f"{i}  {s.name}" for i, s in enumerate(steps, 1)]
    heights = [
        max(paragraph_height(t, text_wide), paragraph_height(n, name_width - 2, bold=True)) + 0.6
        for n, t in zip(names, texts, strict=True)
    ]
    page = flow.room(HEADING_MM + sum(heights[:2]))
    flow.y = heading(page, flow.left, flow.y, "Build in this order", flow.width)
    page = flow.room(paragraph_height(care, flow.width))
    flow.y = paragraph(page, flow.left, flow.y, care, flow.width) - 1.0
    for name, text, height in zip(names, texts, heights, strict=True):
        page = flow.room(height)
        paragraph(page, flow.left, flow.y, name, name_width - 2, bold=True)
        paragraph(page, flow.left + name_width, flow.y, text, text_wide)
        flow.y -= height
    flow.y -= GAP_MM


def _cuts(flow: Flow, rig: Rig, unit: LengthUnit) -> None:
    cuts = cuts_of(rig, unit)
    if not cuts:
        return
    rows = [
        ["Piece", "How many", "Material", "Width x height", "Board", "Hole, seen from its front"]
    ]
    for cut in cuts:
        hole = hole_words(cut, unit)
        if cut.remark:
            hole = cut.remark if hole == "none" else f"{hole}; {cut.remark}"
        rows.append([", ".join(cut.names), str(cut.count), cut.kind, cut_size(cut, unit),
                     board_for(cut), hole])  # fmt: skip
    widths = _share([0.2, 0.09, 0.18, 0.16, 0.13, 0.26], flow.width)
    page = flow.room(HEADING_MM + table_height(rows, widths))
    flow.y = heading(page, flow.left, flow.y, "Cut these", flow.width)
    flow.y = table(page, flow.left, flow.y, rows, widths) - GAP_MM


def _torch(flow: Flow, rig: Rig, unit: LengthUnit) -> None:
    test = torch_test(rig, unit)
    notes = torch_notes(test)
    height = HEADING_MM + sum(paragraph_height(n, flow.width) for n in notes)
    page = flow.room(height + targets_height(test.targets, flow.width, unit))
    flow.y = heading(page, flow.left, flow.y, "Torch test before the first frame", flow.width)
    for note in notes:
        flow.y = paragraph(page, flow.left, flow.y, note, flow.width)
    flow.y = draw_targets(page, flow.left, flow.y, flow.width, test.targets, unit) - GAP_MM


def _camera(flow: Flow, rig: Rig, facts: SetupFacts, pictures: Sequence[tuple[str, Codes]]) -> None:
    lines = exposure_lines(rig, facts)
    page = flow.pages[-1]
    wide = flow.width * (0.5 if pictures else 1.0)
    text_wide = wide - 28.0
    heights = [paragraph_height(text, text_wide) + 0.6 for _, text in lines]
    shown = flow.width - wide - 4.0
    picture_high = sum(shown * p.shape[0] / p.shape[1] + 6.0 for _, p in pictures)
    page = flow.room(HEADING_MM + max(sum(heights), picture_high))
    flow.y = heading(page, flow.left, flow.y, "Camera and first frames", flow.width)
    y = flow.y
    for (name, text), height in zip(lines, heights, strict=True):
        paragraph(page, flow.left, y, name, 26.0, bold=True)
        paragraph(page, flow.left + 28.0, y, text, text_wide)
        y -= height
    picture_y = flow.y
    for name, codes in pictures:
        x = flow.left + wide + 4.0
        page.text(x, picture_y - 3.2, name, bold=True)
        picture_y -= 4.6 + shown * codes.shape[0] / codes.shape[1]
        page.picture(codes, x, picture_y, shown)
        picture_y -= 1.4
    flow.y = min(y, picture_y) - GAP_MM


def _pictures(picture: Codes | None, glare_map: Codes | None) -> list[tuple[str, Codes]]:
    named = (("Predicted picture", picture), ("What the foil sees", glare_map))
    found = []
    for name, codes in named:
        if codes is None:
            continue
        array = np.asarray(codes)
        if array.ndim != 3 or array.shape[2] != 3 or array.dtype != np.uint8 or not array.size:
            raise BadInput(
                field=name.lower(), wanted="8-bit codes of rows x columns x 3",
                got=f"{array.dtype} {array.shape}", cure="encode the picture first",
            )  # fmt: skip
        found.append((name, array))
    return found


def _cautions(flow: Flow, cautions: Sequence[str]) -> None:
    height = sum(paragraph_height(c, flow.width - 4) + 0.4 for c in cautions)
    page = flow.room(HEADING_MM + height)
    flow.y = heading(page, flow.left, flow.y, "Take care", flow.width)
    for caution in cautions:
        page.text(flow.left, flow.y - 0.78 * line_height(), "•")
        flow.y = paragraph(page, flow.left + 4, flow.y, caution, flow.width - 4) - 0.4


def _feet(pages: Sequence[Page], rig: Rig, facts: SetupFacts) -> None:
    told = "lightplan" + (f" {facts.tool_version}" if facts.tool_version else "")
    if facts.rig_digest:
        told += f" · rig {facts.rig_digest[:12]}"
    for number, page in enumerate(pages, 1):
        y = MARGIN_MM - 4.0
        page.text(MARGIN_MM, y, told, colour=FAINT)
        page.text(page.width - MARGIN_MM, y, f"page {number} of {len(pages)}", colour=FAINT,
                  align="right")  # fmt: skip


_Painter = Callable[[Page], None]
