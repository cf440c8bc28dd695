"""The torch test against plane-mirror geometry done another way: by the lens's mirror image."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.reports.setup.torch import POINTS, torch_test
from lightplan.rigfiles.load import load_rig
from lightplan.scene import Body, Camera, Card, Flatness, Hole, Placement, Rig, Sheet

RIGS = Path(__file__).parents[2] / "rigs"


def rig_with(
    card: Card, camera: Camera, *, width_mm: float = 210, height_mm: float = 148, bow_mm: float = 0
) -> Rig:
    sheet = Sheet(width_mm=width_mm, height_mm=height_mm, flatness=Flatness(bow_mm=bow_mm))
    return Rig(title="torch", sheet=sheet, camera=camera, cards=(card,))


def image_source_spots(rig: Rig, card: Card) -> dict[str, tuple[float, float]]:
    """Where lines from the lens's image below the sheet, through the points, meet the card.

    From the card's left and lower edge as its front is looked at.
    """
    image = np.array(rig.camera.placement.position_mm) * [1, 1, -1]
    right, up, normal = card.placement.axes()
    centre = np.array(card.placement.position_mm)
    found = {}
    for letter, across, along in POINTS:
        point = np.array([across * rig.sheet.width_mm / 2, along * rig.sheet.height_mm / 2, 0.0])
        way = point - image
        hit = image + way * float((centre - image) @ normal / (way @ normal))
        found[letter] = (
            float((hit - centre) @ right) + card.width_mm / 2,
            float((hit - centre) @ up) + card.height_mm / 2,
        )
    return found


def test_spots_spread_by_the_card_rule() -> None:
    """Card side = sheet side x (1 + card distance / camera distance), common practice.

    A5 landscape, camera at 500 mm, level card at 300 mm: 336 x 236.8 mm. The camera looks
    through the card's hole, which takes nothing from the corners.
    """
    card = Card(
        name="roof",
        placement=Placement((0, 0, 300)),
        width_mm=420,
        height_mm=297,
        hole=Hole(diameter_mm=60),
    )
    test = torch_test(rig_with(card, Camera(placement=Placement((0, 0, 500)), body=None)))
    (target,) = test.targets
    at = {s.letter: (s.from_left_mm, s.from_lower_mm) for s in target.spots}
    assert at["B"][0] - at["A"][0] == pytest.approx(336.0, abs=1e-9)
    assert at["A"][1] - at["D"][1] == pytest.approx(236.8, abs=1e-9)
    assert target.is_level
    # seen from above: the far left corner lands at the left and far from the maker
    assert at["A"] == pytest.approx((42.0, 266.9), abs=1e-9)
    assert target.hole == pytest.approx((210.0, 148.5, 60.0))


def test_a_bow_of_1_mm_over_148_mm_moves_the_edge_spots_16_mm() -> None:
    """1 mm over 148 mm swings the reflection by 3.1 degrees: 16 mm at 300 mm (computed)."""
    card = Card(name="roof", placement=Placement((0, 0, 300)), width_mm=700, height_mm=600)
    camera = Camera(placement=Placement((0, 0, 5000)), body=None)
    flat, bowed = (
        torch_test(rig_with(card, camera, width_mm=148, height_mm=105, bow_mm=bow)).targets[0]
        for bow in (0.0, 1.0)
    )
    for one, other in zip(flat.spots, bowed.spots, strict=True):
        shift = other.from_left_mm - one.from_left_mm
        expected = {"A": -16.2, "D": -16.2, "B": 16.2, "E": 16.2, "C": 0.0}[one.letter]
        assert shift == pytest.approx(expected, abs=0.6)


@pytest.mark.parametrize(
    ("name", "card"),
    [
        ("silver-bookplate-bright", "sky"),
        ("copper-label-gradient", "tracing paper"),
        ("rainbow-bookmark", "black card"),
        ("moonflower-holographic", "black card"),
    ],
)
def test_presets_agree_with_the_image_source(name: str, card: str) -> None:
    rig = load_rig(RIGS / f"{name}.toml").rig
    (thing,) = [c for c in rig.cards if c.name == card]
    (target,) = torch_test(rig).targets
    assert (target.name, target.is_level) == (card, False)
    expected = image_source_spots(rig, thing)
    assert {s.letter for s in target.spots} == set("ABCDE")
    for spot in target.spots:
        got = (spot.from_left_mm, spot.from_lower_mm)
        assert got == pytest.approx(expected[spot.letter], abs=0.01)


@settings(max_examples=60, deadline=None)
@given(
    x=st.floats(-150, 150),
    y=st.floats(80, 300),
    z=st.floats(200, 500),
    aim_x=st.floats(-60, 60),
    camera_x=st.floats(-100, 100),
)
def test_any_card_agrees_with_the_image_source(
    x: float, y: float, z: float, aim_x: float, camera_x: float
) -> None:
    card = Card(
        name="sky", placement=Placement((x, y, z), (aim_x, 0, 0)), width_mm=3000, height_mm=3000
    )
    camera = Camera(placement=Placement((camera_x, -300, 900)), body=None)
    rig = rig_with(card, camera)
    spots = [s for target in torch_test(rig).targets for s in target.spots]
    expected = image_source_spots(rig, card)
    level = torch_test(rig).targets[0].is_level
    assert not level or abs(card.placement.axes()[2][2]) >= 0.95
    if not level:
        for spot in spots:
            got = (spot.from_left_mm, spot.from_lower_mm)
            assert got == pytest.approx(expected[spot.letter], abs=0.01)


def test_first_thing_on_the_way_catches_the_spot() -> None:
    camera = Camera(placement=Placement((0, -300, 600)), body=None)
    behind = Card(name="behind", placement=Placement((0, 300, 600)), width_mm=900, height_mm=900)
    front = Card(name="front", placement=Placement((0, 150, 300)), width_mm=900, height_mm=900)
    rig = Rig(
        title="two", sheet=Sheet(width_mm=90, height_mm=60), camera=camera, cards=(behind, front)
    )
    (target,) = torch_test(rig).targets
    assert target.name == "front"


def test_a_square_camera_gets_its_own_spot_back() -> None:
    """A flat sheet square to the lens always shows the camera (common practice)."""
    card = Card(
        name="roof",
        placement=Placement((0, 0, 300)),
        width_mm=420,
        height_mm=297,
        hole=Hole(diameter_mm=30),
    )
    camera = Camera(placement=Placement((0, 0, 500)), body=Body(width_mm=140, height_mm=100))
    test = torch_test(rig_with(card, camera))
    assert [(e.letter, "camera" in e.where) for e in test.elsewhere] == [("C", True)]
    assert sorted(s.letter for s in test.targets[0].spots) == ["A", "B", "D", "E"]


def test_a_spot_that_meets_nothing_is_told_so() -> None:
    camera = Camera(placement=Placement((0, -300, 600)), body=None)
    rig = Rig(title="bare", sheet=Sheet(width_mm=90, height_mm=60), camera=camera)
    test = torch_test(rig)
    assert test.targets == ()
    assert {e.where for e in test.elsewhere} == {"past all cards, into the room"}
    assert len(test.elsewhere) == 5


def test_spots_on_a_cone_lie_on_the_cone() -> None:
    rig = load_rig(RIGS / "cone-and-phone.toml").rig
    test = torch_test(rig, "mm")
    assert test.targets == ()
    assert all(e.where.startswith("inside the cone, a point ") for e in test.elsewhere)
    assert {e.letter for e in test.elsewhere} == set("ABCDE")
