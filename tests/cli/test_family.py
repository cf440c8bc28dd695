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
    assert wide == pytest.approx(148 * (1 + 400 / 420) + bow, rel=0.01)
    assert high == pytest.approx(105 * (1 + 400 / 420), rel=0.01)
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
