"""The commands and a maker's own files."""

import shutil
from pathlib import Path

import pytest

from lightplan.reports.report import write_report
from lightplan.rigfiles import copy_rig, load_rig, write_rig

PRESET = "silver-bookplate-bright"
LONG = ("--evaluations", 1_000_000)  # would take hours: what is refused is refused before


@pytest.fixture
def own(tmp_path):
    """A folder with a maker's rig and a report of ours."""
    folder = tmp_path / "ow"
    copy_rig(PRESET, folder / "rig.toml")
    write_report(folder / "report.json", {"tool_version": "0"}, replace=False)
    return folder


@pytest.mark.parametrize("more", [(), ("--replace",), ("--also", PRESET)])
def test_a_rig_is_not_overwritten_by_its_own_plan(own, lightplan, more):
    rig = own / "rig.toml"
    before = rig.read_bytes()
    said = lightplan("plan", rig, "--out", own, *LONG, *more)
    assert said.code == 2
    assert "must be another than those it is made from" in said.err
    assert rig.read_bytes() == before


def test_nor_by_the_plan_of_another_rig(own, lightplan):
    rig = own / "rig.toml"
    before = rig.read_bytes()
    said = lightplan("plan", PRESET, "--out", own, *LONG)
    assert said.code == 2
    assert "rig.toml of yours" in said.err
    assert rig.read_bytes() == before


def test_a_planned_rig_that_was_edited_stays(tmp_path, lightplan):
    out = tmp_path / "planned"
    written = write_rig(load_rig(PRESET), out / "rig.toml", is_output=True)
    write_rig(load_rig(PRESET), out / "rig.toml", is_output=True)  # unchanged: renewed
    edited = written.path.read_text("utf-8") + "\n# the left board stands on two books\n"
    written.path.write_text(edited, "utf-8")
    said = lightplan("plan", PRESET, "--out", out, *LONG)
    assert said.code == 2
    assert "rig.toml that you changed" in said.err
    assert written.path.read_text("utf-8") == edited


@pytest.mark.parametrize(
    "words",
    [
        ("setup", "RIG", "--out", "RIG", "--replace"),
        ("view", "RIG", "--html", "RIG", "--replace"),
        ("view", "RIG", "--png", "ART", "--replace"),
        ("family", "RIG", "--out", "ART", "--replace"),
    ],
    ids=" ".join,
)
def test_single_results_do_not_replace_what_they_are_made_from(own, lightplan, words):
    art = next((own / "artwork").iterdir())
    places = {"RIG": own / "rig.toml", "ART": art}
    before = {path: path.read_bytes() for path in places.values()}
    said = lightplan(*(places.get(word, word) for word in words))
    assert said.code == 2
    assert "the input itself" in said.err
    assert {path: path.read_bytes() for path in places.values()} == before


def test_a_sheet_and_its_template_need_two_names(tmp_path, lightplan):
    said = lightplan("setup", PRESET, "--out", tmp_path / "a.pdf", "--template", tmp_path / "a.pdf")
    assert said.code == 2
    assert "two results of one name" in said.err


def test_the_photograph_is_not_replaced_by_what_it_should_be(tmp_path, lightplan):
    photo = tmp_path / "before_after.png"
    artwork = Path(load_rig(PRESET).assets[load_rig(PRESET).rig.sheet.artwork_file])
    shutil.copy(artwork, photo)
    before = photo.read_bytes()
    said = lightplan("advise", photo, "--rig", PRESET, "--out", tmp_path, "--replace")
    assert said.code == 2
    assert "the input itself" in said.err
    assert photo.read_bytes() == before


@pytest.mark.parametrize("name", ["scores.csv", "scores.json", "contact_sheet.html"])
def test_scores_of_the_makers_own_are_left_before_anything_is_judged(tmp_path, lightplan, name):
    (tmp_path / name).write_text("mine")
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "a.jpg").write_bytes(b"")
    said = lightplan("score", tmp_path / "shots", "--out", tmp_path)
    assert said.code == 2
    assert f"{name} of yours" in said.err
    assert (tmp_path / name).read_text() == "mine"
    assert not (tmp_path / "journal.jsonl").exists()


def test_a_journal_of_the_makers_own_is_left(tmp_path, lightplan):
    (tmp_path / "shots").mkdir()
    (tmp_path / "shots" / "a.jpg").write_bytes(b"")
    for text in ("dear diary\n", '{"day": 1}\n'):
        (tmp_path / "journal.jsonl").write_text(text)
        for more in ((), ("--again",)):
            said = lightplan("score", tmp_path / "shots", "--out", tmp_path, *more)
            assert said.code == 2
            assert "journal.jsonl" in said.err
        assert (tmp_path / "journal.jsonl").read_text() == text
