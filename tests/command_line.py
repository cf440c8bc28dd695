"""The command line run in this process, as a maker types it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Said:
    """What a command printed, and how it ended."""

    code: int
    out: str
    err: str

    def document(self) -> Any:
        """The one JSON object on stdout."""
        assert self.out.count("\n") == 1, self.out
        return json.loads(self.out)


def run(*args: object) -> Said:
    """Run `lightplan ARGS...`."""
    from typer.testing import CliRunner

    from lightplan.cli.app import app

    result = CliRunner().invoke(app, [str(a) for a in args], catch_exceptions=False)
    return Said(result.exit_code, result.stdout, result.stderr)
