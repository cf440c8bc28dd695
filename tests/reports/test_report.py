"""`report.json` and `layers.npz`: the keys other programs read, and equal bytes."""

from __future__ import annotations

import io
import json
import zipfile

import numpy as np
import pytest

from lightplan.optics.exposure_values import saturation_luminance
from lightplan.reports.report import (
    foil_shares,
    json_text,
    layers_npz,
    report_document,
    write_layers,
    write_report,
)
from lightplan.safe_write import FileExists

FIXED_KEYS = {"score", "verdict", "measures", "findings", "exposure", "tool_version", "rig_digest"}
LAYER_KEYS = {
    "camera_paper",
    "camera_foil",
    "camera_xyz_mm",
    "sheet_paper",
    "sheet_foil",
    "sheet_x_mm",
    "sheet_y_mm",
    "sees",
    "sees_names",
}


def document(one):
    return report_document(
        judgement=one.judgement,
        measures=one.measures,
        findings=one.findings,
        settings=one.settings,
        tool_version="1.2.3",
        rig_digest="ab" * 32,
        mirrored=foil_shares(one.layers, one.share),
    )


def test_the_fixed_keys_are_there_and_json_keeps_every_value(half_card):
    wanted = document(half_card)
    read = json.loads(json_text(wanted))
    assert read == wanted
    assert set(read) >= FIXED_KEYS
    assert read["verdict"] in ("keep", "adjust", "retake", "cannot tell")
    assert read["measures"] == half_card.measures.values_by_name()
    assert read["findings"], "half of the foil mirrors a dark room: something must be found"
    for entry in read["findings"]:
        assert set(entry) >= {"what", "where_mm", "cause", "move", "gain"}
        assert len(entry["where_mm"]) == 2
    assert read["tool_version"] == "1.2.3"


def test_the_exposure_belongs_to_the_clip_level(half_card):
    told = document(half_card)["exposure"]
    # ISO 12232 saturation speed, q = 0.65: 120 N^2 / (S t).
    settings = {name: told[name] for name in ("f_number", "time_s", "iso")}
    assert told["clip_luminance_cd_m2"] == pytest.approx(saturation_luminance(**settings))
    assert told["ev_100"] == pytest.approx(np.log2(told["f_number"] ** 2 / told["time_s"]))


def test_nan_never_reaches_a_file():
    with pytest.raises(ValueError, match="not JSON compliant"):
        json_text({"score": float("nan")})


def test_layers_load_without_pickle_and_are_the_engines(half_card, tmp_path):
    path = write_layers(tmp_path / "layers.npz", half_card.layers, replace=False)
    with np.load(path, allow_pickle=False) as read:
        assert set(read.files) >= LAYER_KEYS
        for name in LAYER_KEYS - {"sees_names"}:
            wanted = getattr(half_card.layers, name)
            close = 8e-6 if name.startswith("camera") else 0.0  # rounded, to pack better
            assert np.allclose(read[name], wanted, rtol=close, atol=close, equal_nan=True), name
        assert tuple(read["sees_names"].tolist()) == half_card.layers.sees_names
        assert read["sees_names"].dtype.kind == "U"
        assert (np.diff(read["sheet_x_mm"]) > 0).all()
        assert (np.diff(read["sheet_y_mm"]) < 0).all()


def test_the_same_rig_gives_the_same_bytes_whatever_the_clock(half_card, predict_rig, build_rig):
    first = layers_npz(half_card.layers)
    again = layers_npz(predict_rig(build_rig()).layers)
    assert first == again
    with zipfile.ZipFile(io.BytesIO(first)) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_half_of_the_foil_mirrors_the_half_card(half_card):
    # Mirror geometry: x = 0 on the sheet maps to x = 0 in space for a lens at x = 0.
    shares = foil_shares(half_card.layers, half_card.share)
    step = 1 / 60  # one column of the grid across the foil
    assert shares["right board"] == pytest.approx(0.5, abs=step)
    assert shares["dark room"] == pytest.approx(0.5, abs=step)
    assert sum(shares.values()) == pytest.approx(1.0)


def test_a_file_in_the_way_is_left_as_it_was(half_card, tmp_path):
    path = tmp_path / "report.json"
    path.write_text("mine")
    with pytest.raises(FileExists, match=r"report\.json"):
        write_report(path, document(half_card), replace=False)
    assert path.read_text() == "mine"
    write_report(path, document(half_card), replace=True)
    assert json.loads(path.read_text())["verdict"] == half_card.judgement.verdict
