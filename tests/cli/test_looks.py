"""The proof sheet as a maker and another program find it."""

import json

import pytest
from markupsafe import escape

import lightplan.tasks.looks as task
from lightplan.planning.effort import Effort
from lightplan.reports.cautions import cautions_for
from lightplan.rigfiles import load_rig

KEYS = {
    "look",
    "score",
    "verdict",
    "reads_as_metal_share",
    "foil_run_stops",
    "foil_over_white_stops",
    "paper_lightness_Lstar",
    "picture",
    "rig",
    "needs",
    "yield",
    "advice",
}


@pytest.fixture
def quick(monkeypatch):
    """One process and few lights: what is written is looked at, not how good it is."""
    effort = Effort(evaluations=10, polish=0, builds=16, searched=1, is_quick=True)
    monkeypatch.setattr(task, "QUICK", effort)
    monkeypatch.setattr(task, "usable_cores", lambda: 1)
    monkeypatch.setattr(task, "PICTURE_LONG_SIDE", 240)


def test_one_look_is_planned_shown_and_written(quick, tmp_path):
    source = load_rig("window-two-boards")
    found = task.looks(source, kinds=["gradient"])
    files = task.write_looks(found, source, tmp_path / "proof")
    assert {path.name for path in files} == {
        "proof.png",
        "proof.html",
        "looks.json",
        "gradient.toml",
        "gradient.png",
    }
    (look,) = json.loads((tmp_path / "proof" / "looks.json").read_text("utf-8"))
    assert set(look) == KEYS
    assert 0 <= look["yield"] <= 1
    assert look["look"] == "gradient"
    written = load_rig(tmp_path / "proof" / look["rig"])
    assert written.rig.look.kind == "gradient"
    assert written.plan.score == pytest.approx(look["score"])
    page = (tmp_path / "proof" / "proof.html").read_text("utf-8")
    assert "data:image/jpeg" in page
    careful = cautions_for(written.rig)
    assert len(careful) >= 2
    assert [text for text in careful if str(escape(text)) not in page] == []
    assert task.proof_document(found)["cautions"] == list(careful)


def test_a_look_that_is_none_is_refused(lightplan, tmp_path):
    said = lightplan("looks", "window-two-boards", "--out", tmp_path, "--look", "shiny")
    assert said.code == 2
    assert "--look must be one of bright field" in said.err


def test_a_stop_before_the_first_look_gives_an_empty_sheet():
    stop = task.Stop()
    stop.ask()
    found = task.looks(load_rig("window-two-boards"), kinds=["gradient"], stop=stop)
    assert not found.shown
