"""The first word on a photograph comes before anything heavy is loaded."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import PhotoError
from lightplan.rigfiles import load_rig
from lightplan.scene.slips import Slip
from lightplan.tasks.advice_words import rivals_told
from lightplan.tasks.advise import advice_words, advise
from lightplan.tasks.first_look import glance
from lightplan.words.things import name_in

PHOTO = Path(__file__).parents[1] / "reference/slipped/photographs/certificate_bright_04.jpg"


def test_size_and_exposure_are_told(tmp_path):
    told = glance(PHOTO)
    assert told.startswith("certificate_bright_04.jpg: 640 x ")
    assert ", f/" in told
    assert ", ISO " in told
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8nothing")
    assert glance(broken) == "reading broken.jpg"  # the refusal comes with the full reading


def test_it_waits_for_no_light_engine():
    code = (
        "import sys; from lightplan.tasks.first_look import glance; "
        f"from pathlib import Path; print(glance(Path({str(PHOTO)!r}))); "
        "print([m for m in sys.modules if m.startswith(('lightplan.light', 'lightplan.advice', "
        "'lightplan.rigfiles', 'scipy', 'matplotlib', 'pydantic'))])"
    )
    told = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.splitlines()
    assert told[0].startswith("certificate_bright_04.jpg")
    assert told[1] == "[]"


def test_where_no_sheet_is_seen_the_marker_card_is_told_of(tmp_path):
    photo = tmp_path / "dark.jpg"
    grain = np.random.default_rng(1).normal(40, 9, (600, 900, 3))
    Image.fromarray(grain.clip(0, 255).astype(np.uint8)).save(photo)
    _, told = advice_words(advise(photo, rig="silver-bookplate-bright"))
    assert "lightplan score --card" in told


def test_a_black_frame_names_the_lamps_that_are_to_be_on(tmp_path):
    photo = tmp_path / "black.jpg"
    Image.new("RGB", (900, 600)).save(photo)
    lamps = load_rig("silver-bookplate-bright").rig.lamps
    named = " and ".join(f"the {lamp.name}" for lamp in lamps)
    with pytest.raises(PhotoError, match=f"see that {named} are on and fire") as told:
        advise(photo, rig="silver-bookplate-bright")
    assert str(told.value).startswith("black.jpg: ")


def test_a_thing_that_both_explanations_name_is_not_doubted():
    def off(*names):
        return tuple(
            Slip(element=n, dimension="x_mm", value=50, unit="mm", uncertainty=9, confidence=0.5)
            for n in names
        )

    def told(mine, other):
        rivals = (SimpleNamespace(slips=off(*other)),)
        found = SimpleNamespace(planned=rig, slips=off(*mine), rivals=rivals)
        return rivals_told(found)

    rig = load_rig("silver-bookplate-bright").rig
    lamp, card = rig.lamps[0].name, rig.cards[0].name
    assert told([lamp], [lamp, card]) == []
    assert told([lamp, card], [lamp]) == []
    (which,) = told([lamp], [card])
    assert f"whether it is {name_in(rig, lamp)} or {name_in(rig, card)}" in which
