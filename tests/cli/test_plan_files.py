"""What `lightplan plan` leaves behind, read back as a maker would."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from command_line import Said, run

from lightplan.reports.cautions import cautions_for
from lightplan.rigfiles import load_rig
from lightplan.tasks.best_so_far import NAME, BestSoFar

if TYPE_CHECKING:
    from pathlib import Path

QUICK = ("--evaluations", 10)


@dataclass(frozen=True)
class Planned:
    """A folder that one `plan` wrote for all tests here, which none may change."""

    said: Said
    folder: Path
    pictured: tuple[bool, ...]
    """Whether the best picture so far was there, each time that one was to be shown."""


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Planned:
    folder = tmp_path_factory.mktemp("planned") / "out"
    there, show = [], BestSoFar.show

    def spied(best, found):
        show(best, found)
        there.append((folder / NAME).exists())

    words = ("--look", "gradient", "--unit", "in")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LIGHTPLAN_HOME", str(folder.parent / "home"))
        patch.setattr(BestSoFar, "show", spied)
        said = run("plan", "silver-bookplate-bright", "--out", folder, *words, *QUICK)
    assert said.code == 0, said.err
    return Planned(said, folder, tuple(there))


def test_the_look_asked_for_is_in_the_rig_that_is_written(planned, lightplan):
    said, loaded = planned.said, load_rig(planned.folder / "rig.toml")
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


def test_the_folder_holds_the_files_and_keys_of_the_contract(planned, lightplan, tmp_path):
    document = json.loads((planned.folder / "plan.json").read_text())
    assert {"moves", "tolerances", "yield", "covered", "stopped_because"} <= document.keys()
    for tolerance in document["tolerances"]:
        assert {"element", "dimension", "minus", "plus"} <= tolerance.keys()
    for name in ("rig.toml", "setup.pdf", "picture.png", "glare_map.png", "layers.npz"):
        assert (planned.folder / name).stat().st_size > 0
    # next month starts from the same light: the rig keeps its plan and predicts the same
    again = lightplan("predict", planned.folder / "rig.toml", "--out", tmp_path / "q", "--json")
    first = json.loads((planned.folder / "report.json").read_text())
    assert again.document()["measures"] == pytest.approx(first["measures"], rel=1e-6, abs=1e-9)
    assert "[plan]" in (planned.folder / "rig.toml").read_text()


def test_the_best_picture_so_far_is_there_while_it_searches_and_gone_after(planned):
    assert planned.pictured
    assert planned.pictured[0]
    assert not (planned.folder / NAME).exists()


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
