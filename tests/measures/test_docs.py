"""Every measure, part, gate and weight is in the documentation."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from lightplan.measures import Background, measure
from lightplan.measures.crops import frame_fill
from lightplan.measures.frame import judge_frame
from lightplan.measures.measure import unit_of
from lightplan.measures.rules import gates_of, parts_of
from lightplan.measures.sharpness import sharpness
from lightplan.scene.look import LOOK_KINDS, Look
from lightplan.shots.sheet.exact import SHEET_MEASURES

TEXT = (Path(__file__).parents[2] / "docs" / "measures.md").read_text(encoding="utf-8")
ROWS = [
    [cell.strip() for cell in line.strip("|").split("|")]
    for line in TEXT.splitlines()
    if line.startswith("| ")
]


def every_measure(sheet) -> set[str]:
    ground = Background(linear=np.ones((20, 3)), clipped=np.ones((20, 3), bool))
    maps = sheet(0.7, 0.4, background=ground, rows=180, cols=240)
    names = set(measure(maps, Look(), "gold foil", stock_reflectance=(0.8, 0.8, 0.8)))
    fill = set(frame_fill([[0, 0], [0, 9], [9, 9], [9, 0]], (20, 30)))
    around = set(
        judge_frame(np.ones((24, 32, 3)), np.eye(24, 32) > 0, np.eye(24, 32) > 0).measures()
    )
    return names | fill | around | set(sharpness(maps).measures) | set(SHEET_MEASURES)


def test_every_measure_is_defined_and_nothing_else_is(sheet):
    defined = {row[0].strip("`") for row in ROWS if len(row) == 3 and row[0].startswith("`")}
    assert defined == every_measure(sheet)


def test_every_measure_ends_with_its_unit(sheet):
    for name in every_measure(sheet):
        assert unit_of(name)


@pytest.mark.parametrize("kind", LOOK_KINDS)
def test_the_weights_in_the_docs_are_the_weights_in_use(kind):
    written = {(r[1], r[2].strip("`"), float(r[3])) for r in ROWS if len(r) == 6 and r[0] == kind}
    used = {(rule.name, rule.measure, rule.weight) for rule in parts_of(Look(kind=kind))}
    assert written == used


def test_the_limits_of_the_gates_in_the_docs_are_those_in_use():
    written = {r[0]: r for r in ROWS if len(r) == 5}
    for kind in LOOK_KINDS:
        for gate in gates_of(Look(kind=kind)):
            row = written[gate.name]
            assert row[1].strip("`") == gate.measure
            share = gate.measure.endswith("share")
            for cell, value in ((row[2], gate.limit), (row[3], gate.scale)):
                numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", cell)]
                assert (round(value * 100, 3) if share else value) in numbers


def test_the_published_limits_are_quoted():
    # FADGI and Metamorfoze limits as quoted in secondary sources.
    assert "3 up to A3, 4 to A2, 5 to A1, 6 to A0" in TEXT
    assert "below 1 % to below 8 %" in TEXT
    assert "below 2, 4, 6, 8" in TEXT
