"""A served page, and a browser without a window that looks at it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import pytest
from chromium import opened_browser
from page_server import Served, serve

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    page = serve(tmp_path_factory.mktemp("home"), "silver-bookplate-bright")
    yield page
    page.stop()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with opened_browser() as found:
        yield found


@pytest.fixture(scope="module")
def open_tab(browser: Any, served: Served) -> Callable[..., AbstractContextManager[Any]]:
    """Open a tab on the page, with the list of what goes wrong in it."""

    @contextmanager
    def opening(stage: str, awaited: str, size: tuple[int, int], patience_ms: int) -> Iterator[Any]:
        viewport = {"width": size[0], "height": size[1]}
        context = browser.new_context(viewport=viewport)
        context.set_default_timeout(patience_ms)
        page = context.new_page()
        faults: list[str] = []
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda told: faults.append(told.text) if told.type == "error" else None)
        page.goto(f"{served.address}/?key={served.key}#{stage}")
        page.wait_for_selector(awaited)
        yield page, faults
        context.close()

    return opening


@pytest.fixture
def tab(opened: tuple[Any, list[str]]) -> Iterator[Any]:
    """The tab that a module has `opened` for all its tests; nothing may go wrong in it."""
    page, faults = opened
    yield page
    assert faults == []
