from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

from lightplan.rigfiles import load_rig


def start(folder, lines, *options):
    return subprocess.run(
        [sys.executable, "-m", "lightplan", "start", *options],
        cwd=folder,
        input="\n".join(lines) + "\n",
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_questions_in_the_terminal_give_a_rig(tmp_path):
    lines = ["2", "2.5 x 4 in", "nonsense", "1", "5", "", "1:60 4", "2:1 5", "1:2", "1", "4"]
    done = start(tmp_path, lines, "--out", "tag.toml", "--json")
    assert done.returncode == 0, done.stderr
    assert "once more" in done.stderr  # after the nonsense
    assert any("Leads" in text for text in json.loads(done.stdout)["cautions"])
    rig = load_rig(tmp_path / json.loads(done.stdout)["path"]).rig
    assert (round(rig.sheet.width_mm, 1), round(rig.sheet.height_mm, 1)) == (63.5, 101.6)
    assert rig.sheet.foil.kind == "gold foil"
    assert (rig.camera.held.by, rig.cards[0].held.by) == ("books", "clamp")  # no tripod was named
    assert [(lamp.is_window, lamp.output.value) for lamp in rig.lamps] == [
        (False, 60.0),
        (True, 2500.0),
    ]
    written = (tmp_path / "tag.toml").read_text("utf-8")
    assert not re.search(r"\d\.\d{4}", written)  # nobody measures to the thousandth
    again = start(tmp_path, lines, "--out", "tag.toml")
    assert again.returncode == 2
    assert "one that exists" in again.stderr


PRINT = Path(__file__).parents[1] / "reference/slipped/photographs/silver_bright_right1.jpg"


def test_the_metal_is_told_from_a_photograph_of_the_print(tmp_path):
    lines = ["1", "90 x 120", "2", *[""] * 8]
    done = start(tmp_path, lines, "--out", "plate.toml", "--print", str(PRINT))
    assert done.returncode == 0, done.stderr
    sheet = load_rig(tmp_path / "plate.toml").rig.sheet
    share = float(sheet.artwork.mean())
    assert 0.14 < share < 0.24  # 0.18 of it was stamped
    assert f"{100 * share:.0f} % of the sheet is metal" in " ".join(done.stdout.split())
    assert str(Path("artwork") / "plate.png") in done.stdout
    both = start(tmp_path, lines, "--print", str(PRINT), "--artwork", "a.svg")
    assert both.returncode == 2
    assert "without --artwork" in both.stderr
