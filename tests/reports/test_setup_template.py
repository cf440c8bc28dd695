"""The template, measured on the paper: from the path operators of the PDF."""

from __future__ import annotations

import io
import itertools
import math
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from pdf_paths import Drawn, drawn_on
from pypdf import PdfReader

from lightplan.errors import BadInput
from lightplan.reports.print.page import pdf_bytes
from lightplan.reports.setup.cuts import board_for, cuts_of, rectangle
from lightplan.reports.setup.template import template_pages, write_template_pdf
from lightplan.reports.setup.tiles import tiling
from lightplan.rigfiles.load import load_rig
from lightplan.scene import Camera, Card, Placement, Rig, Sheet, Shell

RIGS = Path(__file__).parents[2] / "rigs"
NOTHING_TO_CUT = {"certificate-a4-bowed"}  # lamps alone; such rigs are refused in words, see below
PRESETS = sorted({path.stem for path in RIGS.glob("*.toml")} - NOTHING_TO_CUT)
RIM_POINTS = 1.2  # line width of what is cut


@lru_cache(maxsize=16)
def rig_of(name: str) -> Rig:
    return load_rig(RIGS / f"{name}.toml").rig


@lru_cache(maxsize=16)
def reader_of(name: str, paper: str) -> PdfReader:
    return PdfReader(io.BytesIO(pdf_bytes(template_pages(rig_of(name), paper=paper), title="T")))


def pages_by_name(name: str, paper: str) -> dict[str, int]:
    """Index of each tile page of a one-piece template, by the name printed on it."""
    reader = reader_of(name, paper)
    found = {}
    for index, page in enumerate(reader.pages):
        named = re.search(r"Page ([A-Z]+\d+)", page.extract_text())
        if named:
            found[named[1]] = index
    return found


def is_rim(path: Drawn) -> bool:
    return path.width == pytest.approx(RIM_POINTS, abs=0.01)


def rim_of(name: str, paper: str, page: int) -> np.ndarray:
    rims = [
        d.points
        for d in drawn_on(reader_of(name, paper), page)
        if d.width == pytest.approx(RIM_POINTS, abs=0.01)
    ]
    return rims[0]


def joints_of(name: str, paper: str, page: int) -> tuple[list[float], list[float]]:
    """x of upright and y of level dashed joints (they run from side to side of the frame)."""
    upright, level = [], []
    for path in drawn_on(reader_of(name, paper), page):
        if path.is_dashed and path.width == pytest.approx(0.6, abs=0.01):
            if np.ptp(path.points[:, 0]) < 0.01:
                upright.append(float(path.points[0, 0]))
            else:
                level.append(float(path.points[0, 1]))
    return sorted(upright), sorted(level)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", ["silver-bookplate-bright", "gold-card-above"])
def test_pages_put_together_give_the_card_in_its_own_size(name: str, paper: str) -> None:
    """Both pages of a joint carry the same dashed line; laid on each other they are one sheet."""
    (card,) = rig_of(name).cards
    pages = pages_by_name(name, paper)
    columns = max(ord(page[0]) - ord("A") for page in pages)
    rows = max(int(page[1:]) for page in pages) - 1
    across = up = 0.0  # where the last column's and row's page lies against the first
    for column in range(columns):
        here, there = (chr(ord("A") + c) + "1" for c in (column, column + 1))
        across += joints_of(name, paper, pages[here])[0][-1]
        across -= joints_of(name, paper, pages[there])[0][0]
    for row in range(1, rows + 1):
        here, there = (f"A{r}" for r in (row, row + 1))
        up += joints_of(name, paper, pages[here])[1][-1]
        up -= joints_of(name, paper, pages[there])[1][0]
    low = rim_of(name, paper, pages["A1"])
    high = rim_of(name, paper, pages[chr(ord("A") + columns) + str(rows + 1)])
    # the rim of the last page, in the first page's place
    corner = high.max(axis=0) + np.array([across, up])
    size = corner - low.min(axis=0)
    assert size == pytest.approx([card.width_mm, card.height_mm], abs=0.05)


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_a_card_smaller_than_a_page_is_drawn_whole(paper: str) -> None:
    card = Card(name="strip", placement=Placement((0, 200, 200)), width_mm=110, height_mm=180)
    rig = Rig(
        title="t",
        sheet=Sheet(width_mm=60, height_mm=40),
        camera=Camera(placement=Placement((0, -200, 400))),
        cards=(card,),
    )
    reader = PdfReader(io.BytesIO(pdf_bytes(template_pages(rig, paper=paper), title="T")))
    assert len(reader.pages) == 2
    (rim,) = [
        d.points for d in drawn_on(reader, 1) if d.width == pytest.approx(RIM_POINTS, abs=0.01)
    ]
    assert np.ptp(rim, axis=0) == pytest.approx([110, 180], abs=0.02)


def test_the_hole_is_drawn_in_its_size_and_place() -> None:
    name, paper = "gold-card-above", "A4"
    (card,) = rig_of(name).cards
    for page in pages_by_name(name, paper).values():
        rings = [
            d.points
            for d in drawn_on(reader_of(name, paper), page)
            if d.width == pytest.approx(RIM_POINTS, abs=0.01) and len(d.points) > 50
        ]
        if rings and np.ptp(rings[0], axis=0) == pytest.approx([18, 18], abs=0.05):
            break
    else:
        pytest.fail("no page shows the whole hole")
    # dashed guides run from the hole's middle to the left and the lower rim
    middle = (rings[0].max(axis=0) + rings[0].min(axis=0)) / 2
    guides = [
        d.points
        for d in drawn_on(reader_of(name, paper), page)
        if d.is_dashed and d.width == pytest.approx(0.5)
    ]
    assert len(guides) == 2
    for guide in guides:
        assert np.linalg.norm(guide - middle, axis=1).min() < 0.05
    assert card.hole is not None
    assert card.hole.offset_mm == (0.0, 0.0)
    text = reader_of(name, paper).pages[0].extract_text()
    assert "hole 18 mm across, middle 210 mm from the left, 148 mm from the lower edge" in " ".join(
        text.split()
    )


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_page_carries_a_ruler_of_100_mm(paper: str) -> None:
    reader = reader_of("rose-gold-tag-dark", paper)
    assert len(reader.pages) == 5
    for number, page in enumerate(reader.pages):
        text = " ".join(page.extract_text().split())
        assert "100 mm (3.94 in): check this ruler" in text
        assert f"page {number + 1} of 5" in text
        lengths = [np.ptp(d.points, axis=0) for d in drawn_on(reader, number)]
        assert any(x == pytest.approx(100.0, abs=0.02) and y < 0.01 for x, y in lengths)
    assert "Print at 100 %" in reader.pages[0].extract_text()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("name", PRESETS)
def test_no_text_overlaps_and_no_outline_is_lost(name: str, paper: str) -> None:
    rig = rig_of(name)
    if not rig.cards and not rig.shells:
        with pytest.raises(BadInput, match="at least one to cut"):
            template_pages(rig, paper=paper)
        return
    for page in template_pages(rig, paper=paper):
        boxes = page.boxes
        clash = [
            (a.text, b.text)
            for i, a in enumerate(boxes)
            for b in boxes[i + 1 :]
            if a.overlaps(b, 0.05)
        ]
        assert clash == []
        assert min(box.left for box in boxes) > 5
        assert max(box.right for box in boxes) < page.width - 5
    for cut in cuts_of(rig):
        each = tiling(cut, paper)
        rim = np.concatenate([cut.outline_mm, cut.outline_mm[:1]])
        fine = np.concatenate(
            [a + np.linspace(0, 1, 60)[:, None] * (b - a) for a, b in itertools.pairwise(rim)]
        )
        seen = np.zeros(len(fine), bool)
        for tile in each.tiles:
            place = fine - [tile.left, tile.bottom]
            seen |= ((place >= -1e-9) & (place <= [each.width + 1e-9, each.height + 1e-9])).all(1)
        assert seen.all()


def test_a_cones_pattern_has_the_cones_own_lengths() -> None:
    """Lateral area pi s (R + r) and rim lengths 2 pi R, 2 pi r of a truncated cone (geometry)."""
    shell = Shell(name="cone", foot_width_mm=360, top_width_mm=40, height_mm=375)
    rig = replace(rig_of("cone-and-phone"), shells=(shell,), freedoms=())
    (cut,) = cuts_of(rig)
    x, y = cut.outline_mm.T
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    slant = math.hypot(375, 160)
    assert area == pytest.approx(math.pi * slant * (180 + 20), rel=2e-4)
    half = len(cut.outline_mm) // 2
    arcs = [
        np.linalg.norm(np.diff(part, axis=0), axis=1).sum()
        for part in (cut.outline_mm[:half], cut.outline_mm[half:])
    ]
    assert arcs == pytest.approx([2 * math.pi * 180, 2 * math.pi * 20], rel=2e-4)
    assert np.ptp(cut.outline_mm, axis=0) == pytest.approx([cut.width_mm, cut.height_mm])


@pytest.mark.parametrize(
    ("size", "board"),
    [
        ((297, 210), "A4, whole"),
        ((298, 210), "A3"),
        ((420, 420), "A2"),
        ((594, 421), "A1"),
        ((841, 594), "A1, whole"),
        ((842, 594), "larger than A1"),
        ((110, 300), "A3"),
    ],
)
def test_boards_are_those_of_iso_216(size: tuple[float, float], board: str) -> None:
    """ISO 216: A4 210 x 297, A3 297 x 420, A2 420 x 594, A1 594 x 841 mm."""
    assert board_for(rectangle("x", "white card", *size)) == board


def test_equal_pieces_are_counted_and_share_a_board() -> None:
    cuts = {cut.names: cut for cut in cuts_of(rig_of("rose-gold-tag-dark"))}
    pair = cuts[("left edge", "right edge")]
    assert pair.count == 2
    assert board_for(pair) == "A3 (2 from one)"  # 2 x 110 = 220 of 297 mm, 300 of 420 mm


def test_a_rig_without_cards_is_refused(tmp_path: Path) -> None:
    rig = Rig(
        title="bare",
        sheet=Sheet(width_mm=60, height_mm=40),
        camera=Camera(placement=Placement((0, -200, 400))),
    )
    with pytest.raises(BadInput, match="cards must be at least one to cut"):
        write_template_pdf(tmp_path / "t.pdf", rig)
    walls = [
        Card(name=f"wall {size}", placement=Placement((0, 9e3, 9e3)), width_mm=size, height_mm=size)
        for size in (9e4, 9.8e3, 9.7e3, 9.6e3)
    ]
    with pytest.raises(BadInput, match="template must be of pieces of at most 10000 mm"):
        write_template_pdf(tmp_path / "t.pdf", replace(rig, cards=tuple(walls)))
    with pytest.raises(BadInput, match="template must be at most 400 pages"):
        write_template_pdf(tmp_path / "t.pdf", replace(rig, cards=tuple(walls[1:])))
    assert list(tmp_path.iterdir()) == []
