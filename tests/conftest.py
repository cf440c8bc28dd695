"""What holds for all tests."""

from __future__ import annotations

import gc
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from command_line import Said, run
from threadpoolctl import threadpool_limits

from lightplan.process import keep_memory

if TYPE_CHECKING:
    from collections.abc import Callable

BENCHMARKS = Path(__file__).parent / "benchmarks"
KEPT_BYTES = 256 << 20  # as the planner's and the scoring's own processes keep
GARBAGE = (20_000, 20, 20)  # Python has (700, 10, 10), for programs of any kind
"""After how many new objects one looks for garbage, and how often among older ones."""


def pytest_configure(config: pytest.Config) -> None:
    """Keep linear algebra to one thread, as the command line does: workers share the cores.

    Memory is kept and garbage looked for as rarely as a run of minutes in one process wants it:
    pages that the system clears anew, and looks through all that was collected, took a tenth of
    the processor's time. Tests of memory ask processes of their own, or count what is held.
    """
    threadpool_limits(1)
    keep_memory(KEPT_BYTES)
    gc.set_threshold(*GARBAGE)
    _deal_out_in_order(config)


def pytest_collection_finish() -> None:
    """Spare the looks for garbage what was collected: it stays to the end."""
    gc.freeze()


LONGEST_FIRST = (
    "planning/test_yields.py",  # compiles the light's loops; the next seven need none of them
    "checks/test_checks.py",
    "shots/test_refusals.py",
    "shots/test_rendered.py",
    "rigfiles/test_load.py",
    "shots/reading/test_batch.py",
    "rigfiles/test_artwork.py",
    "shots/reading/test_whole_jpeg.py",
    "page/test_evening.py",
    "planning/test_plan.py",
    "safety/test_served_page.py",
    "estimate/test_slips_found.py",
    "page/test_stages.py",
    "light/test_any_edit.py",
    "cli/test_plan_files.py",
    "estimate/test_outside.py",
    "planning/test_robust.py",
    "cli/test_contract.py",
    "safety/test_attacks.py",
    "cli/test_score_sets.py",
    "light/test_incremental.py",
    "planning/test_alongside.py",
    "reports/test_setup_sheet.py",
    "page/test_many.py",
    "estimate/test_drift.py",
    "cli/test_plan_words.py",
    "safety/test_net.py",
    "safety/test_pages.py",
    "shots/reading/test_cluster.py",
    "safety/test_odd_names.py",
    "rigfiles/test_write.py",
    "planning/test_trust_region.py",
    "planning/test_cupboard.py",
)
"""Files of minutes, by what they took last (`--durations`): begun last they end alone.

On a new machine two workers that begin with light would both compile its loops, a minute of
processor time each, and a page's three processes three times as much: while one worker is at
that, the other is handed what needs no light.
"""


def _deal_out_in_order(config: pytest.Config) -> None:
    """Let the cores take files in the order above, not by how many tests they have."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def _may_compare_times(path: Path) -> bool:
    """Whether a file may hold tests marked `alone`: by its folder or a word in it."""
    return BENCHMARKS in path.parents or "mark.alone" in path.read_text("utf-8")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Spare the run of what compares times all other files: to read them takes 20 s."""
    asked = config.option.markexpr == "alone" and collection_path.suffix == ".py"
    return True if asked and not _may_compare_times(collection_path) else None


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark what compares times: it runs when nothing else does. Long files come first."""
    here = Path(__file__).parent
    rank = {here / name: place for place, name in enumerate(LONGEST_FIRST)}
    items.sort(key=lambda item: rank.get(item.path, len(rank)))
    for item in items:
        if BENCHMARKS in item.path.parents:
            item.add_marker(pytest.mark.alone)
        elif item.get_closest_marker("alone") and not _may_compare_times(item.path):
            raise pytest.UsageError(f"{item.nodeid}: write @pytest.mark.alone, it is looked for")


@pytest.fixture
def lightplan(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[..., Said]:
    """Run `lightplan ARGS...` in this process; presets of one's own stay in the test's folder."""
    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path / "home"))
    return run
