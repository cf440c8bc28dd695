"""The ledger of a shoot keeps the plan, so that the folder knows its rig."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

from lightplan.errors import BadInput
from lightplan.rigfiles import load_rig, rig_digest
from lightplan.tasks.shoot import LEDGER, rig_of, shoot, write_shoot


@pytest.fixture
def folder(tmp_path):
    """Return a folder with one photograph in which there is no sheet: it is told of quickly."""
    grey = np.full((200, 300, 3), 90, np.uint8)
    Image.fromarray(grey).save(tmp_path / "IMG_1.jpg")
    return tmp_path


def test_a_folder_without_a_ledger_asks_for_the_rig_once(folder):
    with pytest.raises(BadInput, match="name the rig; the ledger keeps a copy from then on"):
        rig_of(folder)


def test_the_ledger_keeps_the_plan_with_its_artwork(folder):
    plan = load_rig("silver-bookplate-bright")
    write_shoot(shoot(folder, rig=plan), folder / LEDGER, rig=plan)
    kept = rig_of(folder)
    assert kept.path == folder / LEDGER / "rig.toml"
    assert rig_digest(kept.rig) == rig_digest(plan.rig)
    assert np.array_equal(kept.rig.sheet.artwork, plan.rig.sheet.artwork)


def test_the_notes_are_renewed_from_the_plan_they_keep(folder):
    plan = load_rig("silver-bookplate-bright")
    write_shoot(shoot(folder, rig=plan), folder / LEDGER, rig=plan)
    kept = rig_of(folder)
    before = kept.path.read_bytes()
    written = write_shoot(shoot(folder, rig=kept), folder / LEDGER, rig=kept)
    assert {p.name for p in written} == {"shoot.html", "shoot.pdf", "shoot.json", "memory.json"}
    assert kept.path.read_bytes() == before
