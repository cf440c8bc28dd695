"""The command line run in this process, as a maker types it."""

import json
from dataclasses import dataclass

import pytest
from typer.testing import CliRunner

from lightplan.cli.app import app


@dataclass
class Said:
    """What a command printed, and how it ended."""

    code: int
    out: str
    err: str

    def document(self):
        """The one JSON object on stdout."""
        assert self.out.count("\n") == 1, self.out
        return json.loads(self.out)


@pytest.fixture
def lightplan(monkeypatch, tmp_path):
    """Run `lightplan ARGS...`; presets of one's own are kept in a folder of the test."""
    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path / "home"))

    def run(*args):
        result = CliRunner().invoke(app, [str(a) for a in args], catch_exceptions=False)
        return Said(result.exit_code, result.stdout, result.stderr)

    return run
