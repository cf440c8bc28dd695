from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import pytest

from lightplan.rigfiles.store import shipped_folder

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def rig_file(tmp_path: Path) -> Path:
    """A maker's own copy of a shipped rig, with its artwork."""
    shutil.copytree(shipped_folder() / "artwork", tmp_path / "artwork")
    shutil.copy(shipped_folder() / "silver-bookplate-bright.toml", tmp_path / "mine.toml")
    return tmp_path / "mine.toml"
