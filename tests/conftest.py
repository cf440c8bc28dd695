"""What holds for all tests."""

from __future__ import annotations

from pathlib import Path

import pytest

BENCHMARKS = Path(__file__).parent / "benchmarks"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what compares times: it runs when nothing else does."""
    for item in items:
        if BENCHMARKS in item.path.parents:
            item.add_marker(pytest.mark.alone)
