"""The contract on commands, files and keys."""

import json
import shutil

import numpy as np
import pytest
from typer.main import get_command

from lightplan.cli.app import app

RIG = "silver-bookplate-bright"
VERDICTS = {"keep", "adjust", "retake", "cannot tell"}


def commands():
    """Every command with the words that call it."""
    found = []
    for name, command in get_command(app).commands.items():
        inner = getattr(command, "commands", None)
        if inner is None:
            found.append((name,))
        else:
            found += [(name, sub) for sub in inner]
    return found


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_help_shows_an_example(words, lightplan):
    said = lightplan(*words, "--help")
    assert said.code == 0
    assert f"Example: lightplan {' '.join(words)}" in said.out


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_every_command_takes_json(words, lightplan):
    assert "--json" in lightplan(*words, "--help").out


def test_predict_writes_the_files_of_the_contract(predicted):
    report = json.loads((predicted.folder / "report.json").read_text())
    keys = {"score", "verdict", "measures", "findings", "exposure", "tool_version", "rig_digest"}
    assert keys <= report.keys()
    assert report["verdict"] in VERDICTS
    assert 0 <= report["score"] <= 100
    for finding in report["findings"]:
        assert {"what", "where_mm", "cause", "move", "gain"} <= finding.keys()
    printed = predicted.said.document()
    assert printed["score"] == report["score"]
    for name in ("picture.png", "glare_map.png"):
        assert (predicted.folder / name).read_bytes().startswith(b"\x89PNG")


def test_layers_hold_what_the_contract_names(predicted):
    with np.load(predicted.folder / "layers.npz", allow_pickle=False) as file:
        layers = dict(file)
    camera = layers["camera_paper"].shape
    assert camera[2] == 3
    assert layers["camera_foil"].shape == layers["camera_xyz_mm"].shape == camera
    sheet = layers["sheet_paper"].shape
    assert sheet == (len(layers["sheet_y_mm"]), len(layers["sheet_x_mm"]), 3)
    assert layers["sheet_foil"].shape == sheet
    assert layers["sees"].shape == sheet[:2]
    assert layers["sees"].dtype.kind in "iu"
    assert layers["sees"].max() < len(layers["sees_names"])
    on = np.isfinite(layers["camera_xyz_mm"][..., 0])
    assert on.any()
    assert not on.all()
    assert np.isfinite(layers["camera_paper"][on]).all()
    assert np.isnan(layers["camera_foil"][~on]).all()


def test_a_second_run_renews_its_own_folder_with_the_same_bytes(predicted, lightplan, tmp_path):
    again = shutil.copytree(predicted.folder, tmp_path / "p")
    before = {path.name: path.stat().st_ino for path in again.iterdir()}
    assert lightplan("predict", predicted.rig, "--out", again).code == 0
    assert {path.name for path in again.iterdir()} == before.keys()
    for path in sorted(again.iterdir()):
        assert path.stat().st_ino != before[path.name], path.name  # written anew
        assert path.read_bytes() == (predicted.folder / path.name).read_bytes(), path.name


def test_a_folder_of_the_makers_is_left_alone(lightplan, tmp_path):
    (tmp_path / "picture.png").write_bytes(b"mine")
    said = lightplan("predict", RIG, "--out", tmp_path)
    assert said.code == 2
    assert (tmp_path / "picture.png").read_bytes() == b"mine"
    assert lightplan("predict", RIG, "--out", tmp_path, "--replace").code == 0
    assert (tmp_path / "picture.png").read_bytes() != b"mine"


def test_setup_and_template_are_written(lightplan, tmp_path):
    said = lightplan(
        "setup",
        RIG,
        "--out",
        tmp_path / "s.pdf",
        "--template",
        tmp_path / "t.pdf",
        "--paper",
        "Letter",
        "--unit",
        "in",
    )
    assert said.code == 0, said.err
    for name in ("s.pdf", "t.pdf"):
        assert (tmp_path / name).read_bytes().startswith(b"%PDF")


def test_fine_shapes_score_the_same_predicted_and_photographed(lightplan, tmp_path):
    # leaves and lines whose stamped edges are half of what one sees: 97 against 67 once
    lightplan("predict", "gold-card-above", "--out", tmp_path / "p")
    (tmp_path / "shots").mkdir()
    picture = (tmp_path / "p" / "picture.png").read_bytes()
    (tmp_path / "shots" / "a.png").write_bytes(picture)
    said = lightplan(
        "score", tmp_path / "shots", "--rig", "gold-card-above", "--out", tmp_path / "s"
    )
    assert said.code == 0
    (row,) = json.loads((tmp_path / "s" / "scores.json").read_text())
    predicted = json.loads((tmp_path / "p" / "report.json").read_text())["measures"]
    for name, apart in (
        ("reads_as_metal_share", 0.05),
        ("foil_run_stops", 0.2),
        ("foil_gradient_span_stops", 0.4),
        ("foil_over_white_stops", 0.15),
    ):
        assert row["measures"][name] == pytest.approx(predicted[name], abs=apart), name


def test_score_goes_on_past_a_broken_file_and_says_so(predicted, lightplan, tmp_path):
    shots = tmp_path / "shots"
    shots.mkdir()
    (shots / "good.png").write_bytes((predicted.folder / "picture.png").read_bytes())
    (shots / "broken.jpg").write_bytes(b"\xff\xd8\xff" + b"x" * 400)
    said = lightplan("score", shots, "--rig", RIG, "--out", tmp_path / "s", "--json")
    assert said.code == 1
    rows = json.loads((tmp_path / "s" / "scores.json").read_text())
    by_file = {row["file"]: row for row in rows}
    for row in rows:
        keys = {"file", "score", "verdict", "measures", "findings", "error"}
        assert keys <= row.keys()
        assert row["verdict"] in VERDICTS
    assert by_file["broken.jpg"]["error"]
    report = json.loads((predicted.folder / "report.json").read_text())
    # predicted and photographed pictures are measured by the same code
    assert by_file["good.png"]["score"] == pytest.approx(report["score"], abs=5.0)
    page = (tmp_path / "s" / "contact_sheet.html").read_text()
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page
    assert (tmp_path / "s" / "scores.csv").read_text().count("\n") == 3


def test_advise_finds_no_fault_that_the_rig_does_not_have(predicted, lightplan, tmp_path):
    said = lightplan(
        "advise", predicted.folder / "picture.png", "--rig", RIG, "--out", tmp_path / "a", "--json"
    )
    assert said.code == 0, said.err
    report = json.loads((predicted.folder / "report.json").read_text())
    # of a photograph the sharpness counts too
    assert said.document()["score"] == pytest.approx(report["score"], abs=6.0)


def test_rigs_can_be_listed_kept_shown_and_copied(lightplan, tmp_path):
    listed = lightplan("rigs", "list", "--json").document()["rigs"]
    assert len([rig for rig in listed if not rig["is_yours"]]) >= 8
    assert lightplan("rigs", "save", RIG, "seed packet labels").code in (0, 2)
    assert lightplan("rigs", "save", RIG, "seed-packet-labels").code == 0
    names = {rig["name"] for rig in lightplan("rigs", "list", "--json").document()["rigs"]}
    assert "seed-packet-labels" in names
    assert 'kind = "bright field"' in lightplan("rigs", "show", "seed-packet-labels").out
    assert lightplan("rigs", "copy", "seed-packet-labels", tmp_path / "mine.toml").code == 0
    assert lightplan("rigs", "check", tmp_path / "mine.toml", "--json").document()["ok"]


def test_a_marker_card_is_written(lightplan, tmp_path):
    assert lightplan("score", "--card", tmp_path / "card.pdf").code == 0
    assert (tmp_path / "card.pdf").read_bytes().startswith(b"%PDF")
