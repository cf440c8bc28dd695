"""The family of angles from the command line."""

import pytest


def test_the_card_rule_on_the_command_line(lightplan, tmp_path):
    # common practice, no source: card side = sheet side x (1 + card distance / camera
    # distance), along the mirrored ray; the camera of this preset looks straight down.
    said = lightplan("family", "gold-card-above", "--distance", 400, "--json")
    assert said.code == 0, said.err
    document = said.document()
    wide, high = document["without_margins_mm"]
    # Its bow of 0.2 mm over 148 mm swings the reflection at both edges by twice the slope
    # 4 x 0.2 / 148, computed.
    bow = 2 * 400 * 2 * (4 * 0.2 / 148)
    assert wide == pytest.approx(148 * (1 + 400 / 280) + bow, rel=0.01)
    assert high == pytest.approx(105 * (1 + 400 / 280), rel=0.01)
    assert document["smallest_card_mm"][0] > wide
    # the reflected camera covers half the body's width at every distance (same source)
    assert document["camera_sees_itself"]["width_mm"] == pytest.approx(75 / 2, rel=0.02)


def test_a_card_that_fills_the_view_is_larger_than_the_smallest(lightplan, tmp_path):
    said = lightplan(
        "family", "silver-bookplate-bright", "--card", "sky", "--out", tmp_path / "f.png", "--json"
    )
    wide, high = said.document()["smallest_card_mm"]
    assert wide < 420
    assert high < 420
    assert (tmp_path / "f.png").read_bytes().startswith(b"\x89PNG")


def test_an_unknown_card_is_named(lightplan):
    said = lightplan("family", "silver-bookplate-bright", "--card", "skye")
    assert said.code == 2
    assert "sky" in said.err


def test_the_maker_is_told_how_the_card_stands_and_whether_theirs_will_do(lightplan):
    said = lightplan("family", "silver-bookplate-bright", "--card", "sky", "--unit", "in")
    # the preset's card leans so that its middle mirrors into the lens: 65 degrees, from the
    # rig file's position (177, 381) by atan (closed form)
    assert "lean it forward 65° from upright" in said.out
    assert "Your “sky” covers all that the foil sees" in said.out
    assert " mm" not in said.out
    assert "-0" not in said.out


def test_the_bow_of_the_sheet_asks_for_its_share_of_the_card(lightplan):
    flat = lightplan("family", "silver-bookplate-bright", "--json").document()
    bowed = lightplan("family", "certificate-a4-bowed", "--json").document()
    assert flat["margins_mm"]["bow"] == 0
    # 1.5 mm over 297 mm swings the reflection at each edge by twice the slope 4 x 1.5 / 297
    # (closed form of a parabola; a mirror turns a ray twice as far), 400 mm away
    assert bowed["margins_mm"]["bow"] == pytest.approx(400 * 2 * 4 * 1.5 / 297, rel=0.15)


def test_what_hides_the_camera_is_named(lightplan):
    said = lightplan("family", "gold-card-above", "--card", "roof")
    assert "In this rig “roof” hides the camera from the foil" in said.out
    hole = lightplan("family", "gold-card-above", "--card", "roof", "--json").document()
    hole = hole["camera_sees_itself"]["hole"]
    assert hole["card_height_mm"] == 270
    # the lens, 280 mm up, must see the sheet's diagonal through a card 270 mm up, and its own
    # opening of 10 mm (similar triangles)
    assert hole["hole_mm"] == pytest.approx((148**2 + 105**2) ** 0.5 * 10 / 280 + 10)
