"""The printed setup sheet, read back from the PDF and held against the rig."""

from __future__ import annotations

import io
import math
import re
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from pdf_paths import drawn_on
from pypdf import PdfReader

from lightplan.errors import BadInput
from lightplan.light.exposure import Settings
from lightplan.planning.result import Tolerance
from lightplan.reports.print.page import Page, pdf_bytes
from lightplan.reports.setup.elements import elements_of
from lightplan.reports.setup.facts import SetupFacts, SetupNote
from lightplan.reports.setup.map import GlarePicture
from lightplan.reports.setup.setup_sheet import setup_pages, setup_pdf
from lightplan.reports.setup.steps import steps_of
from lightplan.rigfiles.load import load_rig
from lightplan.scene import Camera, Placement, Rig
from lightplan.scene.holding import usually_held

RIGS = Path(__file__).parents[2] / "rigs"
PRESETS = sorted(path.stem for path in RIGS.glob("*.toml"))
FACTS = SetupFacts(
    settings=Settings(1000.0, 8.0, 1 / 30, 100.0, is_suggested=True),
    yield_share=0.93,
    score=88.0,
    foil_to_paper_stops=1.4,
    rig_digest="0123456789abcdef",
    tool_version="0.1.0",
    tolerances=(
        Tolerance(element="camera", dimension="x_mm", minus=3.0, plus=5.0),
        Tolerance(element="sheet", dimension="bow_mm", minus=0.2, plus=0.2),
    ),
    critical=(("sheet", "bow_mm"), ("camera", "lean_deg")),
)
PICTURE = np.full((200, 300, 3), 90, np.uint8)
MAP = GlarePicture(np.full((90, 60, 3), 200, np.uint8), (((200, 200, 200), "sky: 100 %"),))
# ISO 216 A4; US Letter 8.5 x 11 in
PAPER_POINTS = {"A4": (210 / 25.4 * 72, 297 / 25.4 * 72), "Letter": (612.0, 792.0)}
PAPERS = [("A4", "mm"), ("Letter", "in")]


@cache
def rig_of(name: str) -> Rig:
    return load_rig(RIGS / f"{name}.toml").rig


@cache
def pages_of(name: str, paper: str, unit: str) -> list[Page]:
    return setup_pages(rig_of(name), FACTS, paper=paper, unit=unit, picture=PICTURE, glare_map=MAP)


@cache
def reader_of(name: str, paper: str, unit: str) -> PdfReader:
    return PdfReader(io.BytesIO(pdf_bytes(pages_of(name, paper, unit), title=name)))


@cache
def told(name: str, paper: str = "A4", unit: str = "mm") -> str:
    text = " ".join(page.extract_text() for page in reader_of(name, paper, unit).pages)
    return " ".join(text.split())


def length(value_mm: float, unit: str) -> str:
    """The expected words, written anew here: mm whole, cm and inches to one decimal."""
    per = {"mm": 1.0, "cm": 10.0, "in": 25.4}[unit]
    return f"{value_mm / per + 0.0:.{0 if unit == 'mm' else 1}f} {unit}"


def place(point: tuple[float, float, float], unit: str) -> str:
    x, y, z = point
    beside = length(abs(x), unit) + ("" if abs(x) < 0.5 else " left" if x < 0 else " right")
    along = length(abs(y), unit) + ("" if abs(y) < 0.5 else " towards you" if y < 0 else " away")
    return f"{beside} {along} {length(z, unit)}"


def things(rig: Rig) -> list[tuple[str, tuple[float, float, float]]]:
    found = [("camera", rig.camera.placement.position_mm)]
    found += [(p.name, p.position_mm) for p in rig.props]
    found += [(c.name, c.placement.position_mm) for c in rig.cards]
    found += [(lamp.name, lamp.placement.position_mm) for lamp in rig.lamps if lamp.on]
    return found + [(shell.name, shell.centre_mm) for shell in rig.shells]


@pytest.mark.parametrize(("paper", "unit"), PAPERS)
@pytest.mark.parametrize("name", PRESETS)
def test_nothing_overlaps_or_leaves_the_page(name: str, paper: str, unit: str) -> None:
    pages = pages_of(name, paper, unit)
    assert 1 <= len(pages) <= 2
    for page in pages:
        boxes = page.boxes
        assert len(boxes) > 20
        clashes = [
            (a.text, b.text)
            for i, a in enumerate(boxes)
            for b in boxes[i + 1 :]
            if a.overlaps(b, 0.05)
        ]
        assert clashes == []
        outside = [
            b.text
            for b in boxes
            if b.left < 10 or b.right > page.width - 10 or b.bottom < 6 or b.top > page.height - 10
        ]
        assert outside == []


@pytest.mark.parametrize("name", PRESETS)
def test_every_place_in_the_text_is_the_rigs(name: str) -> None:
    text = told(name)
    for element, position in things(rig_of(name)):
        row = re.compile(
            rf"\d {re.escape(element)}\b.{{0,70}}? {re.escape(place(position, 'mm'))}\b"
        )
        assert row.search(text), f"{element} at {place(position, 'mm')}"


@pytest.mark.parametrize(("paper", "unit"), [("Letter", "in"), ("A4", "cm")])
@pytest.mark.parametrize("name", PRESETS)
def test_every_place_is_told_in_other_units(name: str, paper: str, unit: str) -> None:
    text = told(name, paper, unit)
    for element, position in things(rig_of(name)):
        row = re.compile(
            rf"\d {re.escape(element)}\b.{{0,70}}? {re.escape(place(position, unit))}\b"
        )
        assert row.search(text), f"{element} at {place(position, unit)}"
    # said in mm in every unit
    only_mm = r"\d+ mm lens|like \d+ mm on a 35 mm camera|bow of \d\.\d mm|bow ±0\.2 mm"
    assert " mm" not in re.sub(only_mm, "", text)


def lens_told(camera: Camera) -> str:
    """A phone's lens as its maker states it, any other by its own focal length."""
    if not camera.states_equivalent:
        return f"{camera.focal_length_mm:.0f} mm lens"
    diagonal = math.hypot(camera.sensor_width_mm, camera.sensor_height_mm)
    # the diagonal of 36 x 24 mm; CIPA DCG-001, from memory
    equivalent = camera.focal_length_mm * math.hypot(36, 24) / diagonal
    return f"lens like {equivalent:.0f} mm on a 35 mm camera"


def size(width_mm: float, height_mm: float, unit: str) -> str:
    return f"{length(width_mm, unit).removesuffix(f' {unit}')} x {length(height_mm, unit)}"


@pytest.mark.parametrize(("paper", "unit"), [*PAPERS, ("A4", "cm")])
@pytest.mark.parametrize("name", PRESETS)
def test_every_size_and_every_hole_is_the_rigs(name: str, paper: str, unit: str) -> None:
    rig, text = rig_of(name), told(name, paper, unit)
    cut_list = text[text.index("Cut these") : text.index("Torch test")] if rig.cards else ""
    assert f"sheet: {size(rig.sheet.width_mm, rig.sheet.height_mm, unit)}" in text
    assert f"camera, {lens_told(rig.camera)}" in text
    for lamp in (lamp for lamp in rig.lamps if lamp.on):
        shown = size(lamp.width_mm, lamp.height_mm, unit)
        across = f"{length(lamp.width_mm, unit)} across"
        row = re.search(rf"\d {re.escape(lamp.name)}\b.{{0,60}}", text)
        assert row is not None
        assert (across if lamp.shape == "disk" else shown) in row[0], (lamp.name, row[0])
    for card in rig.cards:
        shown = size(card.width_mm, card.height_mm, unit)
        row = re.search(rf"\d {re.escape(card.name)}[:,] .{{0,60}}", text)
        assert row is not None
        assert shown in row[0], (card.name, row[0])
        assert shown in cut_list, (card.name, cut_list)
        if card.hole is not None:
            x, y = card.hole.offset_mm
            hole = (
                f"{length(card.hole.diameter_mm, unit)} across, middle "
                f"{length(card.width_mm / 2 + x, unit)} from the left, "
                f"{length(card.height_mm / 2 + y, unit)} from the lower edge"
            )
            assert hole in cut_list
    for shell in rig.shells:
        assert f"{length(shell.foot_width_mm, unit)} wide at the foot" in text
        assert f"{length(shell.height_mm, unit)} high" in text


@pytest.mark.parametrize(("paper", "unit"), [*PAPERS, ("A4", "cm")])
@pytest.mark.parametrize("name", PRESETS)
def test_the_drawings_carry_every_dimension_and_no_other(name: str, paper: str, unit: str) -> None:
    first = pages_of(name, paper, unit)[0]
    table = next(box.top for box in first.boxes if box.text == "No")
    drawn = {
        box.text
        for box in first.boxes
        if box.bottom > table and re.fullmatch(rf"\d+(\.\d)? {unit}", box.text)
    }
    wanted = {length(abs(v), unit) for _, place in things(rig_of(name)) for v in place}
    assert drawn == wanted


@pytest.mark.parametrize(("paper", "unit"), [*PAPERS, ("A4", "cm")])
@pytest.mark.parametrize("name", PRESETS)
def test_no_figure_is_dead(name: str, paper: str, unit: str) -> None:
    dead = r"(?<![\d,] )[-−]0(\.0+)?(?![\d.])|\bnan\b|\binf\b|\bNone\b|±0(\.0)? "
    assert re.search(dead, "it stands -0 mm, ±0.0 mm off")  # the search would find one
    assert re.search(dead, told(name, paper, unit)) is None


def test_every_tolerance_stands_with_its_own_thing() -> None:
    rig = rig_of("rose-gold-tag-dark")
    names = ["camera", *(thing.name for thing in (*rig.cards, *rig.lamps))]
    kinds = (("x_mm", 1.0, "left/right"), ("y_mm", 20.0, "towards/away"), ("z_mm", 40.0, "height"))
    tolerances = tuple(
        Tolerance(element=name, dimension=dimension, minus=low + i, plus=low + i)
        for i, name in enumerate(names)
        for dimension, low, _ in kinds
    )
    pages = setup_pages(rig, replace(FACTS, tolerances=tolerances))
    text = " ".join(" ".join(box.text for page in pages for box in page.boxes).split())
    steps = text[text.index("Build in this order") : text.index("Cut these")]
    for i, name in enumerate(names):
        step = steps[steps.lower().index(f"{name} (") :]
        words = "; ".join(f"{word} ±{low + i:.0f} mm" for _, low, word in kinds)
        assert step.index(f"Tolerance: {words}.") < 400, (name, words)


@pytest.mark.parametrize("name", PRESETS)
def test_every_lean_is_the_angle_of_the_facing_line(name: str) -> None:
    rig, text = rig_of(name), told(name)
    for thing in (*rig.cards, *rig.lamps):
        (x, y, z), (a, b, c) = thing.placement.position_mm, thing.placement.aim_mm
        lean = math.degrees(math.atan2(z - c, math.hypot(x - a, y - b)))
        if thing in rig.lamps:
            words = f"point it {abs(lean):.0f}°" if abs(lean) >= 10 else "point it"
        elif abs(lean) < 0.5:
            words = "upright"
        elif abs(lean) > 89:
            words = "level, face down"
        elif abs(lean) >= 10:
            words = f"lean it {'forward' if lean > 0 else 'back'} {abs(lean):.0f}° from upright"
        else:
            words = f"lean it {'forward' if lean > 0 else 'back'} {round(abs(lean) * 2) / 2:g}°"
        stands = place(thing.placement.position_mm, "mm")
        start = re.search(rf"\d {re.escape(thing.name)}\b.{{0,70}}? {re.escape(stands)}\b", text)
        assert start is not None
        row = text[start.end() :][:120]
        assert words in row, (thing.name, words, row)


@pytest.mark.parametrize("name", PRESETS)
def test_lowest_and_highest_edges_follow_from_the_lean(name: str) -> None:
    rig, text = rig_of(name), told(name)
    for card in rig.cards:
        p, a = np.array(card.placement.position_mm), np.array(card.placement.aim_mm)
        horizontal = math.hypot(*(a - p)[:2]) / np.linalg.norm(a - p)
        low, high = (p[2] + way * card.height_mm / 2 * horizontal for way in (-1, 1))
        expected = f"{low:.0f} to {high:.0f} mm" if high - low > 0.5 else f"{low:.0f} mm"
        assert expected in text, (card.name, expected)


@pytest.mark.parametrize(("paper", "unit"), PAPERS)
def test_page_size_fonts_and_letters(paper: str, unit: str) -> None:
    reader = reader_of("window-two-boards", paper, unit)
    assert len(reader.pages) == 2
    for page in reader.pages:
        assert [float(v) for v in page.mediabox] == pytest.approx(
            [0, 0, *PAPER_POINTS[paper]], abs=0.02
        )
        fonts = page["/Resources"]["/Font"]
        assert fonts
        for font in fonts.values():
            font = font.get_object()
            part = font
            if font["/Subtype"] == "/Type0":
                part = font["/DescendantFonts"][0].get_object()
            assert part["/Subtype"] in ("/TrueType", "/CIDFontType2")  # text, not drawings
            assert "/FontFile2" in part["/FontDescriptor"]
            assert "/ToUnicode" in font or font["/Subtype"] == "/TrueType"
        sizes: list[float] = []
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size, sizes=sizes: (
                sizes.append(size * math.hypot(tm[0], tm[1])) if text.strip() else None
            )
        )
        assert len(sizes) > 20
        assert min(sizes) >= 8.0


def test_boxes_are_where_the_text_of_the_pdf_is() -> None:
    """The overlap test leans on the boxes; so they must be true."""
    page = reader_of("rose-gold-tag-dark", "A4", "mm").pages[0]
    spots: list[tuple[float, float]] = []

    def note(op: bytes, args: object, cm: list[float], tm: list[float]) -> None:
        if op in (b"Tj", b"TJ"):
            x = cm[0] * tm[4] + cm[2] * tm[5] + cm[4]
            y = cm[1] * tm[4] + cm[3] * tm[5] + cm[5]
            spots.append((x / 72 * 25.4, y / 72 * 25.4))

    page.extract_text(visitor_operand_before=note)
    boxes = pages_of("rose-gold-tag-dark", "A4", "mm")[0].boxes
    assert len(spots) >= len(boxes)
    for box in boxes:
        near = [
            x
            for x, y in spots
            if box.left - 0.3 < x < box.right + 0.3 and box.bottom - 0.3 < y < box.top + 0.3
        ]
        assert near, box


def quadrilaterals(reader: PdfReader, page: int) -> list[np.ndarray]:
    """Closed paths of four corners of a page, mm."""
    closed = [path.points for path in drawn_on(reader, page) if path.is_closed]
    return [points[:4] for points in closed if len(points) in (4, 5)]


@pytest.mark.parametrize("name", ["rose-gold-tag-dark", "certificate-a4-bowed"])
def test_drawings_are_to_the_scale_they_state(name: str) -> None:
    rig = rig_of(name)
    scales = re.findall(r"(?:From above|From the right side), 1:([\d.]+)", told(name))
    assert len(scales) == 2
    assert scales[0] == scales[1]
    scale = float(scales[0])
    wanted = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / scale
    sizes = [np.ptp(corners, axis=0) for corners in quadrilaterals(reader_of(name, "A4", "mm"), 0)]
    assert any(np.allclose(size, wanted, atol=0.02) for size in sizes)
    lamp = rig.lamps[-1]  # stands upright or leans: its width shows in full from above
    right = np.array(lamp.placement.axes()[0])
    assert abs(right[2]) < 1e-9
    sides = [
        np.linalg.norm(np.diff(corners, axis=0), axis=1)
        for corners in quadrilaterals(reader_of(name, "A4", "mm"), 0)
    ]
    assert any(np.isclose(side, lamp.width_mm / scale, atol=0.02).any() for side in sides)


def test_promises_tolerances_and_settings_are_told() -> None:
    text = told("silver-bookplate-bright")
    assert "No What Left / right" in text  # no heading is broken inside a word
    assert "Predicted score: 88 of 100" in text
    assert "93 of 100 careful builds come out right" in text
    assert "at most 5 mm right or 3 mm left" in text
    assert "bow ±0.2 mm" in text
    assert "1. how flat the sheet lies; 2. how far the camera leans" in text
    assert "f/8, 1/30 s, ISO 100" in text
    # 1/30 s halved twice, halved, as it is, doubled (closed form: a stop is a factor of 2),
    # as a dial has it: 1/125 for 1/120 (common practice, no source)
    assert "1/125 s, 1/60 s, 1/30 s, 1/15 s: −2, −1, 0, +1 stops" in text
    assert "torch (never a laser)" in text
    assert "rig 0123456789ab" in text


def test_the_same_rig_gives_the_same_bytes_and_no_clock() -> None:
    rig = rig_of("cone-and-phone")
    first, second = (pdf_bytes(setup_pages(rig, FACTS), title="x") for _ in range(2))
    assert first == second
    dates = re.findall(rb"\((D:[^)]*)\)", first)
    assert dates == [b"D:20000101000000Z"]  # always the same, and no other
    assert b"ModDate" not in first


def test_wrong_paper_and_wrong_picture_are_refused() -> None:
    rig = rig_of("cone-and-phone")
    with pytest.raises(BadInput, match="paper must be A4 or Letter"):
        setup_pdf(rig, paper="A7")
    with pytest.raises(BadInput, match="picture must be 8-bit codes"):
        setup_pdf(rig, picture=np.zeros((4, 4), np.uint8))


@pytest.mark.parametrize(
    "title",
    ["$x^2$ \\frac{1}{2} % {a} # & _", "line\nbreak\ttab", "W" * 400, "箔押し \U0001f31e", " "],
)
def test_any_title_and_name_can_be_printed(title: str) -> None:
    rig = rig_of("gold-card-above")
    lamps = (replace(rig.lamps[0], name=title + "1"), *rig.lamps[1:])
    pages = setup_pages(replace(rig, title=title, lamps=lamps, freedoms=()), FACTS)
    for page in pages:
        boxes = page.boxes
        clash = [(a, b) for i, a in enumerate(boxes) for b in boxes[i + 1 :] if a.overlaps(b, 0.05)]
        assert clash == []
        assert max(box.right for box in boxes) < page.width - 8
    assert pdf_bytes(pages[:1], title=title).startswith(b"%PDF")


def test_a_crowded_rig_is_cut_nowhere() -> None:
    rig = rig_of("gold-card-above")
    more = tuple(
        replace(rig.lamps[0], name=f"lamp {i}", placement=Placement((60.0 * i - 400, 300, 200)))
        for i in range(14)
    )
    pages = setup_pages(replace(rig, lamps=more, freedoms=()), FACTS)
    text = " ".join(box.text for page in pages for box in page.boxes)
    assert all(f"lamp {i}:" in text for i in range(14))
    for page in pages:
        boxes = page.boxes
        assert not [1 for i, a in enumerate(boxes) for b in boxes[i + 1 :] if a.overlaps(b, 0.3)]
        assert min(box.bottom for box in boxes) > 6


def test_notes_are_printed_and_overlap_nothing() -> None:
    long = "Gold foil gift card, phone straight above, through a hole in a card"
    note = SetupNote(
        heading="Products on this rig", lines=((long, "fits. " * 60), ("tag", "breaks"))
    )
    facts = replace(FACTS, notes=(note,))
    pages = setup_pages(rig_of("gold-card-above"), facts, picture=PICTURE, glare_map=MAP)
    assert len(pages) == 2
    text = " ".join(box.text for page in pages for box in page.boxes)
    assert "Products on this rig" in text
    assert text.count("fits.") == 60
    for page in pages:
        boxes = page.boxes
        assert not [1 for i, a in enumerate(boxes) for b in boxes[i + 1 :] if a.overlaps(b, 0.05)]


def test_nothing_is_promised_of_a_rig_that_was_changed_or_is_none_to_keep() -> None:
    def said(**facts: object) -> str:
        pages = setup_pages(rig_of("gold-card-above"), replace(FACTS, **facts))
        return " ".join(box.text for page in pages for box in page.boxes)

    assert "93 of 100 careful builds come out right (80 or more)" in said(good_score=80.0)
    poor = said(good_score=40.0, is_kept=False)
    assert "careful builds keep 40 points or more" in poor
    assert "come out right" not in poor
    assert "changed after it was planned" in said(is_changed=True)


@pytest.mark.parametrize(
    ("by", "said"),
    [
        (None, "fix it so that it cannot move"),
        ("tripod", "tighten the tripod"),
        ("books", "tape it to its books so that it cannot slide"),
        ("clamp", "tighten the clamp and its arm"),
        ("table", "tape it to what it lies on so that it cannot slide"),
    ],
)
def test_the_lens_is_kept_in_place_by_what_holds_it(by, said):
    """A phone on books, or a camera of which is not said what holds it, has no tripod."""
    rig = rig_of("cone-and-phone")
    held = None if by is None else usually_held(by)
    rig = replace(rig, camera=replace(rig.camera, held=held))
    step = next(s for s in steps_of(rig, elements_of(rig), FACTS, "mm") if "Camera" in s.name)
    assert f"Set the lens first, {said}, and do not move it again" in step.text
    assert ("tripod" in step.text) == (by == "tripod")
