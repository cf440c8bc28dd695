"""What `lightplan plan` leaves behind, read back as a maker would."""

import pytest

from lightplan.reports.cautions import cautions_for
from lightplan.rigfiles import load_rig

QUICK = ("--evaluations", 10)


@pytest.fixture
def planned(lightplan, tmp_path):
    out = tmp_path / "out"
    said = lightplan(
        "plan",
        "silver-bookplate-bright",
        "--out",
        out,
        "--look",
        "gradient",
        "--unit",
        "in",
        *QUICK,
    )
    assert said.code == 0, said.err
    return said, load_rig(out / "rig.toml")


def test_the_look_asked_for_is_in_the_rig_that_is_written(planned, lightplan, tmp_path):
    said, loaded = planned
    assert loaded.rig.look.kind == "gradient"
    # the plan kept in the file is that of the rig in the file, so a sheet may promise it
    assert loaded.plan.rig_digest == loaded.digest
    assert loaded.plan.critical
    assert loaded.plan.good_score is not None
    assert " mm" not in said.out
    assert "Take care:" in said.out
    assert "-0" not in said.out.split("Wrote:")[0]
    # and it outlives being kept under a name
    assert lightplan("rigs", "save", loaded.path, "next-month").code == 0
    kept = load_rig("next-month")
    assert kept.plan == loaded.plan
    assert kept.digest == loaded.digest


def test_a_range_of_products_is_written(lightplan, tmp_path):
    out = tmp_path / "out"
    said = lightplan(
        "plan",
        "silver-bookplate-bright",
        "--also",
        "gold-card-above",
        "--out",
        out,
        "--json",
        *QUICK,
    )
    assert said.code == 0, said.err
    document = said.document()
    first, second = (load_rig(out / p["rig"]) for p in document["products"])
    assert document["cautions"][: len(cautions_for(first.rig))] == list(cautions_for(first.rig))
    assert first.rig.sheet.foil.kind == "silver foil"
    assert second.rig.sheet.foil.kind == "gold foil"
    assert (second.rig.sheet.width_mm, second.rig.sheet.height_mm) == (148, 105)
    assert second.rig.title == load_rig("gold-card-above").rig.title
    assert second.rig.sheet.artwork.shape == load_rig("gold-card-above").rig.sheet.artwork.shape
    assert (out / "setup.pdf").read_bytes().startswith(b"%PDF")


def test_a_folder_that_cannot_be_used_is_told_before_the_search(lightplan, tmp_path):
    (tmp_path / "setup.pdf").write_text("mine")
    said = lightplan("plan", "silver-bookplate-bright", "--out", tmp_path, "--evaluations", 100000)
    assert said.code == 2
    assert "setup.pdf of yours" in said.err
