"""Shared by the tests of rig files."""

import sys
from pathlib import Path

import pytest

TESTS = str(Path(__file__).parents[1])
if TESTS not in sys.path:  # rig_strategies.py lies there
    sys.path.append(TESTS)

MINIMAL = """\
format = 2
title = "Tag"

[sheet]
width_mm = 85
height_mm = 55

[camera]
position_mm = [0, -200, 400]
"""

HARMLESS = (
    "\N{NO-BREAK SPACE}\N{THIN SPACE}\N{ZERO WIDTH JOINER}\N{ZERO WIDTH NON-JOINER}\N{SOFT HYPHEN}"
)
"""Unseen, but nothing that a terminal acts on."""


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory, monkeypatch):
    """Keep the presets of whoever runs the tests out of them, and safe."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("LIGHTPLAN_HOME", str(home))
    return home


@pytest.fixture
def minimal():
    """The shortest rig file."""
    return MINIMAL


@pytest.fixture
def rig_file(tmp_path):
    """Write a rig file and return its path."""

    def write(text=MINIMAL, name="mine.toml"):
        path = tmp_path / name
        path.write_text(text, "utf-8")
        return path

    return write


@pytest.fixture(scope="session")
def assert_one_sentence():
    """Check that an error is one plain line: file, field, wanted, got, cure."""

    def check(error, file=None):
        for fault in error.faults:  # one line each
            check_one(fault, file)

    def check_one(error, file):
        text = str(error)
        assert all(c.isprintable() or c in HARMLESS for c in text), text
        assert len(text) < 600, text
        assert text.endswith(".")
        assert not text.endswith("..")
        assert " must be " in text
        assert " (got " in text
        assert "; " in text
        if file is not None:
            assert text.startswith(f"{file}: "), text

    return check
