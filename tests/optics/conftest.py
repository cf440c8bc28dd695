"""Published and computed numbers that the optics layer is checked against."""

import json
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(scope="session")
def reference() -> dict[str, Any]:
    file = Path(__file__).parents[1] / "reference" / "optics.json"
    return json.loads(file.read_text(encoding="utf-8"))
