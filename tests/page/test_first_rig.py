"""From answers to a first rig: what is not known is taken as usual, and nothing breaks."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from lightplan.errors import BadInput
from lightplan.mirror.self_view import self_view
from lightplan.planning.poses import poses
from lightplan.rigfiles.artwork import read_artwork
from lightplan.scene import HOLDER_KINDS
from lightplan.scene.clearance import broken
from lightplan.tasks.foil_artwork import (
    FoilArtwork,
    foil_mask,
    main_colours,
    read_any_artwork,
    sample_artwork,
)
from lightplan.tasks.layout import kept_facts, layout
from lightplan.tasks.start import QUESTIONS, questions
from lightplan.tasks.start_options import FOILS, STOCKS
from lightplan.tasks.start_rig import start_rig


def test_every_question_left_open_gives_a_rig_that_can_be_built(tmp_path):
    loaded = start_rig({}, tmp_path / "a.toml")
    assert broken(loaded.rig) == ()
    text = loaded.path.read_text("utf-8")
    assert "# Size: a usual one, not measured." in text
    assert "Watts not known" in text
    # nothing is narrowed: bounds about a first guess kept plans from the best of the things
    assert loaded.rig.freedoms == ()
    assert "[[freedoms]]" not in text


def test_stamped_foil_is_pressed_into_stock_that_is_never_quite_smooth(tmp_path):
    """What Relief and Waviness call usual; a metal tag has neither."""
    cases = {
        ("gold foil", "white"): (True, 0.35),
        ("holographic foil", "coated"): (True, 0.12),
        ("gold leaf", "cream"): (False, 0.35),
        ("aluminium", "white"): (False, None),
    }
    for number, ((foil, stock), (is_pressed, slope_deg)) in enumerate(cases.items()):
        path = tmp_path / f"{number}.toml"
        sheet = start_rig({"foil": foil, "stock": stock}, path).rig.sheet
        assert (sheet.foil.relief is not None) == is_pressed
        assert ("A usual stamp" in path.read_text("utf-8")) == is_pressed
        hills = sheet.paper.waviness
        assert (None if hills is None else round(np.degrees(hills.slope_rad), 6)) == slope_deg


def held_by(rig):
    return {thing.held.by for thing in (rig.camera, *rig.cards) if thing.held is not None}


def test_nothing_is_held_by_what_the_maker_has_not(tmp_path):
    """Whoever knows of nothing gets what is usual; whoever has nothing gets books."""
    cases = [
        ({}, {"clamp", "tripod"}),
        ({"holders": "unknown"}, {"clamp", "tripod"}),
        ({"holders": {}}, {"books"}),
        ({"holders": {"clamp": 2, "tripod": 0}}, {"clamp", "books"}),
        ({"holders": {"string": 1, "tripod": 1}}, {"books", "string", "tripod"}),
    ]
    for number, (answers, allowed) in enumerate(cases):
        loaded = start_rig(answers, tmp_path / f"{number}.toml")
        assert broken(loaded.rig) == ()
        assert held_by(loaded.rig) <= allowed
        named = answers.get("holders")
        there = {k for k, n in named.items() if n} if isinstance(named, dict) else set()
        assert {thing.kind for thing in loaded.owned} & set(HOLDER_KINDS) == there
        to_add = {thing["kind"] for thing in kept_facts(loaded)["owned"]}
        assert not to_add & set(HOLDER_KINDS), "nobody puts a clamp into a picture"


@pytest.mark.parametrize(
    ("goods", "camera"),
    [("tag", "phone"), ("card", "camera"), ("certificate", "phone"), ("plant", "phone tele")],
)
def test_of_any_goods_and_camera_the_camera_does_not_see_itself_and_the_board_does_its_work(
    tmp_path, goods, camera
):
    answers = {"goods": goods, "camera": camera, "cards": {"white A2": 1}}
    rig = start_rig(answers, tmp_path / "a.toml").rig
    itself = self_view(rig.camera, rig.sheet)
    assert itself is not None
    assert itself.share == 0.0
    # and planning finds a place for it: a tag asks a phone closer than its tripod lets it down
    lowest = rig.camera.held.lowest_mm
    places = [pose.camera.placement.position_mm[2] for pose in poses(rig)]
    assert places
    assert min(places) >= lowest
    told = layout(rig)
    assert [one["covers"] for one in told["families"] if one["card"] == "board"] == [True]
    assert told["limits"] == []
    # the whole sheet is in the picture
    half = np.array([rig.sheet.width_mm, rig.sheet.height_mm]) / 2
    corners = np.array([[x, y, 0] for x, y in itertools.product((-1, 1), repeat=2)])
    at = rig.camera.project(corners * [*half, 0], 100, 100)
    assert (at > 0).all()
    assert (at < 99).all()


def test_answers_stand_in_the_rig(tmp_path):
    answers = {
        "size": {"width_mm": 99, "height_mm": 210},
        "foil": "gold leaf",
        "stock": "kraft",
        "lamps": [{"kind": "panel", "watts": 45}, {"kind": "window"}],
        "room": "dark",
        "camera": {"equivalent_mm": 24.0, "pixels": [3000, 4000], "is_phone": True},
        "title": "Spring labels",
        "cards": {"white A3": 2, "tissue": 1},
    }
    loaded = start_rig(answers, tmp_path / "a.toml")
    rig = loaded.rig
    assert (rig.title, rig.sheet.width_mm, rig.sheet.height_mm) == ("Spring labels", 99, 210)
    assert (rig.sheet.foil.kind, rig.room.ambient_cd_m2[0]) == ("gold leaf", 0.5)
    assert rig.camera.equivalent_focal_length_mm == pytest.approx(24.0)
    assert rig.camera.pixels == (4000, 3000)
    assert [(lamp.output.value, lamp.output.unit) for lamp in rig.lamps if not lamp.is_window] == [
        (45.0, "W")
    ]
    assert sorted((t.kind, t.count) for t in loaded.owned) == [
        ("diffuser", 1),
        ("lamp", 1),
        ("white board", 2),
    ]


@pytest.mark.parametrize(
    "answers",
    [
        {"size": {"width_mm": -1, "height_mm": 5}},
        {"size": {"width_mm": "x", "height_mm": 5}},
        {"foil": "unobtainium"},
        {"stock": 7},
    ],
)
def test_answers_that_cannot_be_are_refused_and_leave_nothing(tmp_path, answers):
    with pytest.raises(BadInput, match="must be"):
        start_rig(answers, tmp_path / "a.toml")
    assert not (tmp_path / "a.toml").exists()


def test_nothing_that_is_there_is_overwritten(tmp_path):
    start_rig({}, tmp_path / "a.toml")
    before = (tmp_path / "a.toml").read_bytes()
    with pytest.raises(BadInput, match="one that exists"):
        start_rig({"foil": "gold foil"}, tmp_path / "a.toml")
    assert (tmp_path / "a.toml").read_bytes() == before


def test_every_question_can_be_shown():
    told = questions()
    assert [one["id"] for one in told] == [one.id for one in QUESTIONS]
    swatches = {o["id"]: o["colours"] for q in told for o in q["options"]}
    assert len({tuple(swatches[foil.id]) for foil in FOILS}) >= len(FOILS) - 1
    assert len({tuple(swatches[stock.id]) for stock in STOCKS}) >= len(STOCKS) - 1


def drawn(colours, cover=None) -> FoilArtwork:
    codes = np.asarray(colours, np.uint8)
    full = np.ones(codes.shape[:2], np.float32) if cover is None else cover
    return FoilArtwork(codes, full, "art.png")


def test_the_colour_that_is_metal_becomes_the_mask(tmp_path):
    art = np.full((60, 40, 3), 255)
    art[10:20, 10:30] = (200, 150, 40)  # gold
    art[30:50, 10:30] = (20, 30, 80)  # blue ink
    colours = main_colours(drawn(art))
    assert [round(share, 3) for _, share in colours] == [0.75, 0.167, 0.083]
    mask, padded = foil_mask(drawn(art), colour="#c89628", width_mm=80, height_mm=120)
    assert not padded
    (tmp_path / "m.png").write_bytes(mask)
    share = read_artwork(tmp_path / "m.png", width_mm=80, height_mm=120)
    assert share[10:20, 10:30].min() == 1.0
    assert share.sum() == 200.0


def test_black_on_white_and_white_on_black_mean_the_same_metal():
    art = np.full((60, 40, 3), 255)
    art[10:20, 10:30] = 0
    size = {"width_mm": 80.0, "height_mm": 120.0}
    assert foil_mask(drawn(art), colour=None, **size) == foil_mask(
        drawn(255 - art), colour=None, **size
    )


def test_artwork_of_another_shape_is_padded_not_stretched(tmp_path):
    art = np.zeros((50, 100, 3), np.uint8)
    art[:, 40:60] = 255
    mask, padded = foil_mask(drawn(art), colour=None, width_mm=100, height_mm=100)
    assert padded
    (tmp_path / "m.png").write_bytes(mask)
    share = read_artwork(tmp_path / "m.png", width_mm=100, height_mm=100)
    assert share.shape == (100, 100)
    assert share.sum() == 50 * 20


def test_svg_and_pdf_are_read_and_nonsense_is_refused():
    svg = (
        b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 6">'
        b'<rect width="2" height="6"/></svg>'
    )
    found = read_any_artwork(svg, ".svg", "a.svg")
    assert found.cover.mean() == pytest.approx(0.5, abs=0.01)
    pdf = PDF
    page = read_any_artwork(pdf, ".pdf", "a.pdf")
    assert page.codes.shape[0] == pytest.approx(1.5 * page.codes.shape[1], rel=0.01)
    for suffix in (".png", ".svg", ".pdf", ".jpg"):
        with pytest.raises(BadInput, match=r"bad\.\w+: artwork must be"):
            read_any_artwork(b"\x00\xffnonsense", suffix, f"bad{suffix}")


def test_the_sample_motif_has_the_sheet_s_shape(tmp_path):
    (tmp_path / "s.png").write_bytes(sample_artwork(50, 120))
    share = read_artwork(tmp_path / "s.png", width_mm=50, height_mm=120)
    assert 0.05 < share.mean() < 0.5


PDF = (
    b"%PDF-1.4\n1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n"
    b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n"
    b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 200 300]>>endobj\n"
    b"trailer<</Root 1 0 R>>\n"
)
