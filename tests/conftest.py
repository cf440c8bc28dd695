"""What holds for all tests."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from command_line import Said, run
from threadpoolctl import threadpool_limits

if TYPE_CHECKING:
    from collections.abc import Callable

BENCHMARKS = Path(__file__).parent / "benchmarks"


def pytest_configure(config: pytest.Config) -> None:
    """Keep linear algebra to one thread, as the command line does: workers share the cores."""
    threadpool_limits(1)
    _deal_out_in_order(config)


LONGEST_FIRST = (
    "planning/test_yields.py",
    "page/test_stages.py",
    "estimate/test_slips_found.py",
    "cli/test_plan_files.py",
    "planning/test_plan.py",
    "shots/reading/test_cluster.py",
    "safety/test_net.py",
    "rigfiles/test_write.py",
    "safety/test_attacks.py",
    "cli/test_plan_progress.py",
    "shots/test_rendered.py",
    "cli/test_score_sets.py",
    "planning/test_trust_region.py",
    "shots/test_refusals.py",
    "planning/test_robust.py",
    "planning/test_cupboard.py",
)
"""Files of minutes, by what they took last (`--durations`): begun last they end alone."""


def _deal_out_in_order(config: pytest.Config) -> None:
    """Let the cores take files in the order below, not by how many tests they have."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what compares times: it runs when nothing else does. Long files come first."""
    here = Path(__file__).parent
    rank = {here / name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))
    for item in items:
        if BENCHMARKS in item.path.parents:
            item.add_marker(pytest.mark.alone)


@pytest.fixture
def lightplan(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Said]:
    """Run `lightplan ARGS...` in this process; presets of one's own stay in the test's folder."""
    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path / "home"))
    return run
