"""Wrong input gives one clear sentence and exit code 2."""

import re
from importlib import resources
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RIG = "silver-bookplate-bright"
PICTURE = "silver-bookplate.png"
FAULTS = {
    "unknown field": ("width_mm = 120", "widht_mm = 120", "width_mm"),
    "negative size": ("width_mm = 120", "width_mm = -5", "width_mm"),
    "not a number": ("width_mm = 120", "width_mm = nan", "width_mm"),
    "lamp inside the sheet": (
        'name = "side softbox"\nposition_mm = [-440, -131, 525]',
        'name = "side softbox"\nposition_mm = [0, 0, 1]',
        "side softbox",
    ),
    "format 99": ("format = 2", "format = 99", "format"),
    "missing artwork": (PICTURE, "none.png", "artwork"),
}


def rig_text():
    return (ROOT / "rigs" / f"{RIG}.toml").read_text("utf-8")


def one_sentence(text):
    """The message is a single line that ends with one full stop."""
    line = text.strip()
    assert line
    assert "\n" not in line
    assert line.endswith(".")
    assert "Traceback" not in line
    return line


@pytest.mark.parametrize("fault", FAULTS)
def test_faulty_rig_file(fault, lightplan, tmp_path):
    good, bad, named = FAULTS[fault]
    text = rig_text()
    assert good in text, f"the preset changed: {good!r} is not in it"
    folder = tmp_path / "artwork"
    folder.mkdir()
    picture = ROOT / "rigs" / "artwork" / PICTURE
    (folder / picture.name).write_bytes(picture.read_bytes())
    path = tmp_path / "bad.toml"
    path.write_text(text.replace(good, bad, 1), "utf-8")
    said = lightplan("predict", path, "--out", tmp_path / "out")
    assert said.code == 2
    sentence = one_sentence(said.err)
    assert named in sentence
    assert "bad.toml" in sentence
    assert not said.out
    assert not (tmp_path / "out").exists()


def test_camera_under_the_table(lightplan, tmp_path):
    text = re.sub(
        r"(\[camera\]\nposition_mm = )\[[^\]]*\]", r"\1[0, -260, -560]", rig_text(), count=1
    )
    assert text != rig_text()
    path = tmp_path / "under.toml"
    path.write_text(text, "utf-8")
    said = lightplan("rigs", "check", path)
    assert said.code == 2
    assert "camera" in one_sentence(said.err)


@pytest.mark.parametrize("content", [b"\x00" * 10_000_000, b"[" * 10_000_000, b"\xff\xfe nonsense"])
def test_nonsense_is_refused(content, lightplan, tmp_path):
    path = tmp_path / "nonsense.toml"
    path.write_bytes(content)
    said = lightplan("rigs", "check", path)
    assert said.code == 2
    one_sentence(said.err)


@pytest.mark.parametrize(
    "words",
    [
        ("predict", "no-such-rig", "--out", "x"),
        ("score", "no-such-photo.jpg", "--out", "x"),
        ("score",),
        ("watch", "no-such-folder", "--rig", RIG),
        ("advise", "no-such.jpg", "--rig", RIG, "--out", "x"),
        ("rigs", "show", "no-such-rig"),
        ("score", ".", "--size", "12by5", "--out", "x"),
    ],
    ids=" ".join,
)
def test_missing_things_are_named(words, lightplan, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    said = lightplan(*words)
    assert said.code == 2
    one_sentence(said.err)


def test_json_tells_the_error_too(lightplan):
    said = lightplan("rigs", "show", "no-such-rig", "--json")
    assert said.code == 2
    assert "no-such-rig" in said.document()["error"]


def test_the_typed_marker_is_in_the_package():
    assert resources.files("lightplan").joinpath("py.typed").is_file()
