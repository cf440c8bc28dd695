"""What holds for all tests."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from threadpoolctl import threadpool_limits

if TYPE_CHECKING:
    from collections.abc import Callable

BENCHMARKS = Path(__file__).parent / "benchmarks"


def pytest_configure() -> None:
    """Keep linear algebra to one thread, as the command line does: workers share the cores."""
    threadpool_limits(1)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what compares times: it runs when nothing else does."""
    for item in items:
        if BENCHMARKS in item.path.parents:
            item.add_marker(pytest.mark.alone)


@dataclass
class Said:
    """What a command printed, and how it ended."""

    code: int
    out: str
    err: str

    def document(self) -> Any:
        """The one JSON object on stdout."""
        assert self.out.count("\n") == 1, self.out
        return json.loads(self.out)


@pytest.fixture
def lightplan(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Said]:
    """Run `lightplan ARGS...` in this process; presets of one's own stay in the test's folder."""
    from typer.testing import CliRunner

    from lightplan.cli.app import app

    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path / "home"))

    def run(*args: object) -> Said:
        result = CliRunner().invoke(app, [str(a) for a in args], catch_exceptions=False)
        return Said(result.exit_code, result.stdout, result.stderr)

    return run
