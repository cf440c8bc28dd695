from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pytest
from command_line import Said, run

if TYPE_CHECKING:
    from pathlib import Path

PREDICTED = "silver-bookplate-bright"


@dataclass(frozen=True)
class Predicted:
    """A folder that `predict` wrote, which no test may change, and what it said."""

    rig: str
    folder: Path
    said: Said


@pytest.fixture(scope="session")
def predicted(tmp_path_factory: pytest.TempPathFactory) -> Predicted:
    folder = tmp_path_factory.mktemp("predicted") / "p"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LIGHTPLAN_HOME", str(folder.parent / "home"))
        said = run("predict", PREDICTED, "--out", folder, "--json")
    assert said.code == 0, said.err
    return Predicted(PREDICTED, folder, said)
