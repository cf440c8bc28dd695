"""Cautions, camera settings, steps and tolerances in words."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from lightplan.reports.cautions import cautions_for
from lightplan.reports.setup.camera_settings import STEADY_TIMES_S, bracket_stops, exposure_lines
from lightplan.reports.setup.elements import elements_of
from lightplan.reports.setup.facts import NO_FACTS, SetupFacts
from lightplan.reports.setup.steps import beforehand, steps_of, swing_mm, tolerance_words
from lightplan.rigfiles.load import load_rig
from lightplan.scene import Camera, Card, Lamp, Output, Placement, Prop, Rig, Sheet
from lightplan.words.stances import lamp_stance, stance

RIGS = Path(__file__).parents[2] / "rigs"
PRESETS = sorted(path.stem for path in RIGS.glob("*.toml"))


def rig_of(name: str) -> Rig:
    return load_rig(RIGS / f"{name}.toml").rig


def bare(**parts: object) -> Rig:
    return Rig(
        title="bare",
        sheet=Sheet(width_mm=90, height_mm=50),
        camera=Camera(placement=Placement((0, -300, 400))),
        **parts,
    )


def headings(rig: Rig) -> set[str]:
    return {text.split(":")[0] for text in cautions_for(rig)}


@pytest.mark.parametrize("name", PRESETS)
def test_cautions_name_no_distance_fuse_or_limit(name: str) -> None:
    listed = cautions_for(rig_of(name))
    assert listed
    assert not re.search(r"\d", " ".join(listed))
    assert len(set(listed)) == len(listed)


def test_cautions_come_only_where_they_apply() -> None:
    lamp = Lamp(name="key", placement=Placement((400, 0, 300)))
    flash = replace(lamp, output=Output(value=20, unit="guide number"))
    window = replace(lamp, is_window=True)
    card = Card(name="sky", placement=Placement((0, 0, 300)), width_mm=300, height_mm=300)
    assert headings(bare()) == {"Foil is a mirror"}
    assert "Lamps that get hot" in headings(bare(lamps=(lamp,)))
    assert "Lamps that get hot" not in headings(bare(lamps=(flash,)))
    assert any("never open them" in text for text in cautions_for(bare(lamps=(flash,))))
    assert any("photosensitive" in text for text in cautions_for(bare(lamps=(flash,))))
    assert not any("photosensitive" in text for text in cautions_for(bare(lamps=(lamp,))))
    assert not any("Leads" in text for text in cautions_for(bare(lamps=(window,))))
    for rig, has_sun in ((bare(lamps=(lamp,)), False), (bare(lamps=(window,)), True)):
        assert any("direct sun" in text for text in cautions_for(rig)) is has_sun
    for rig, hangs in ((bare(cards=(card,)), True), (bare(lamps=(lamp,)), False)):
        assert any("tether" in text for text in cautions_for(rig)) is hangs
    overhead = replace(bare(), camera=Camera(placement=Placement((0, 0, 500))))
    assert any("the camera too" in text for text in cautions_for(overhead))
    assert any("modelling lamps" in text for text in cautions_for(bare(lamps=(flash,))))
    assert "Window glass" in headings(bare(lamps=(window,)))
    assert "Window glass" not in headings(bare(lamps=(lamp,)))
    high = replace(lamp, placement=Placement((400, 0, 1500)))
    assert "What hangs high" in headings(bare(lamps=(high,)))
    assert "What hangs high" not in headings(bare(lamps=(lamp,)))
    lit = cautions_for(bare(lamps=(lamp,)))
    assert "local electrical and fire codes" in lit[-1]
    assert any("licensed electrician" in text for text in lit)


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_steady_times_are_whole_half_periods_of_the_mains(mains_hz: int) -> None:
    """Light on the mains swells twice per period (common practice: multiples of 1/100, 1/120 s)."""
    for time_s in STEADY_TIMES_S[mains_hz]:
        halves = time_s * 2 * mains_hz
        assert halves == pytest.approx(round(halves), abs=1e-9)
        assert round(halves) >= 1


@pytest.mark.parametrize(
    ("above", "stops"),
    [
        (None, (-1, 0, 1)),
        (0.3, (-1, 0, 1)),
        (2.1, (-3, -2, -1, 0, 1)),
        (-1.5, (-1, 0, 1, 2)),
        (9.0, (-3, -2, -1, 0, 1)),
        (math.inf, (-1, 0, 1)),
    ],
)
def test_bracket_reaches_as_far_as_foil_and_paper_lie_apart(
    above: float | None, stops: tuple[int, ...]
) -> None:
    assert bracket_stops(SetupFacts(foil_to_paper_stops=above)) == stops


def test_phone_window_and_flash_get_their_own_words() -> None:
    phone = dict(exposure_lines(rig_of("window-two-boards"), NO_FACTS))
    assert "none by daylight" in phone["Mains flicker"]
    assert "press and hold" in phone["Lock"]
    lamp = Lamp(
        name="key", placement=Placement((400, 0, 300)), output=Output(value=20, unit="guide number")
    )
    flash = dict(exposure_lines(bare(lamps=(lamp,)), NO_FACTS))
    assert "does not matter with flash" in flash["Mains flicker"]
    steady = dict(exposure_lines(rig_of("rainbow-bookmark"), NO_FACTS))
    assert "1/50 s or 1/100 s" in steady["Mains flicker"]
    assert "1/60 s or 1/120 s" in steady["Mains flicker"]
    assert "HDR" in steady["Lock"]
    assert "grey or white card" in steady["White balance"]


def test_a_sheet_that_is_small_in_the_frame_is_to_be_cropped() -> None:
    rig = rig_of("rose-gold-tag-dark")
    assert "Cropping" not in dict(exposure_lines(rig, NO_FACTS))
    x, y, z = rig.camera.placement.position_mm
    twice = Placement((2 * x, 2 * y, 2 * z), rig.camera.placement.aim_mm)
    far = replace(rig, camera=replace(rig.camera, placement=twice, locked=True))
    told = dict(exposure_lines(far, NO_FACTS))["Cropping"]
    assert told.endswith("% of the frame: crop to the sheet afterwards, which loses nothing.")


def test_lamps_of_two_colours_are_pointed_out() -> None:
    lamps = (
        Lamp(name="a", placement=Placement((400, 0, 300)), colour_k=3200),
        Lamp(name="b", placement=Placement((-400, 0, 300)), colour_k=5600),
    )
    told = dict(exposure_lines(bare(lamps=lamps), NO_FACTS))["White balance"]
    assert "3200 K, 5600 K" in told


@pytest.mark.parametrize("name", PRESETS)
def test_steps_run_camera_sheet_cards_lamps_black(name: str) -> None:
    rig = rig_of(name)
    elements = elements_of(rig)
    assert [e.number for e in elements] == list(range(1, len(elements) + 1))
    names = " | ".join(step.name for step in steps_of(rig, elements, NO_FACTS, "mm"))
    black = [c.name for c in rig.cards if c.front.finish == "black"]
    others = [c.name for c in rig.cards if c.name not in black]
    order = [
        "Cross",
        "Camera (1)",
        "Sheet",
        *others,
        *(s.name for s in rig.shells),
        *(lamp.name for lamp in rig.lamps if lamp.on),
        *black,
        "Dark room",
    ]
    places = [names.index(word) for word in order]
    assert places == sorted(places)


def test_props_are_told_by_their_foot_and_come_before_what_they_hold() -> None:
    post = Prop(name="stand", position_mm=(-40, 165, 0), width_mm=25, depth_mm=25, height_mm=400)
    box = Prop(
        name="block",
        shape="box",
        position_mm=(100, -50, 0),
        width_mm=80,
        depth_mm=30,
        height_mm=45,
        turn_rad=math.radians(20),
    )
    card = Card(name="sky", placement=Placement((0, 0, 300)), width_mm=420, height_mm=297)
    rig = bare(props=(post, box), cards=(card,))
    camera, stand, block, sky = elements_of(rig)
    assert (stand.kind, stand.size, stand.position_mm) == (
        "post",
        "25 mm thick, 400 mm high",
        (-40, 165, 0),
    )
    assert (stand.lowest_mm, stand.highest_mm) == (0.0, 400.0)
    assert block.size == "80 x 30 mm, 45 mm high"
    assert block.stance == "upright on its foot, on the table; turned 20° anticlockwise, seen " + (
        "from above"
    )
    # Closed form: a turned box reaches w/2 cos + d/2 sin to the right.
    reach = 40 * math.cos(math.radians(20)) + 15 * math.sin(math.radians(20))
    assert max(ring[:, 0].max() for ring in block.rings_mm) == pytest.approx(100 + reach)
    steps = {s.name: s.text for s in steps_of(rig, (camera, stand, block, sky), NO_FACTS, "mm")}
    assert steps["stand (2)"] == "Stand this post here."
    assert steps["block (3)"] == "Stand this box here."
    assert list(steps).index("stand (2)") < list(steps).index("sky (4)")


@dataclass(frozen=True, kw_only=True)
class SetupTolerance:
    element: str
    dimension: str
    minus: float
    plus: float


def test_tolerances_of_one_size_stand_together() -> None:
    tolerances = [
        SetupTolerance(element="sky", dimension=d, minus=5, plus=5) for d in ("x_mm", "y_mm")
    ]
    tolerances.append(SetupTolerance(element="sky", dimension="lean_deg", minus=0.5, plus=0.8))
    tolerances.append(SetupTolerance(element="sheet", dimension="bow_mm", minus=0.2, plus=0.2))
    words = tolerance_words("sky", tolerances, "mm")
    assert words == "left/right, towards/away ±5 mm; lean +0.8° / −0.5°"
    assert tolerance_words("sheet", tolerances, "in") == "bow ±0.2 mm"
    assert tolerance_words("lamp", tolerances, "mm") == ""


def test_one_degree_of_tilt_is_10_and_a_half_mm_at_300_mm() -> None:
    """1 degree of tilt swings the reflection 2 degrees: 10.5 mm of card at 300 mm (computed)."""
    card = Card(name="roof", placement=Placement((0, 0, 300)), width_mm=420, height_mm=297)
    rig = replace(bare(cards=(card,)), camera=Camera(placement=Placement((0, 0, 500))))
    found = swing_mm(rig)
    assert found is not None
    assert found[0] == "roof"
    assert found[1] == pytest.approx(10.5, abs=0.05)
    assert "10 mm on “roof”" in beforehand(rig, NO_FACTS, "mm")


@pytest.mark.parametrize(
    ("aim", "words"),
    [
        ((0, -100, 300), "upright; faces you"),
        ((0, 100, 300), "upright; faces away from you"),
        ((100, 0, 300), "upright; faces right"),
        ((-100, 0, 300), "upright; faces left"),
        ((0, 0, 0), "level, face down"),
        ((0, 0, 900), "level, face up"),
        ((0, -100, 200), "lean it forward 45° from upright; faces you"),
        ((0, -100, 400), "lean it back 45° from upright; faces you"),
        ((100, -57.735, 300), "upright; faces right, turned 30° towards you"),
        ((-100, 57.735, 300), "upright; faces left, turned 30° away from you"),
    ],
)
def test_stances_are_what_a_maker_sees(aim: tuple[float, float, float], words: str) -> None:
    assert stance(Placement((0, 0, 300), aim)) == words


@pytest.mark.parametrize(
    ("aim", "words"),
    [
        ((0, -100, 300), "point it level; faces you"),
        ((0, 0, 0), "point it straight down"),
        ((0, -100, 200), "point it 45° down; faces you"),
        ((0, -100, 400), "point it 45° up; faces you"),
    ],
)
def test_a_lamp_points_where_a_card_leans(aim: tuple[float, float, float], words: str) -> None:
    assert lamp_stance(Placement((0, 0, 300), aim)) == words
