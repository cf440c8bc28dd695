"""Debian's browser without a window, and without what no test looks at."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

CHROMIUM = Path("/usr/bin/chromium")
NOT_WANTED = (
    # the address bar's lists: two pages of the browser's own for each window, 0.8 s of processor
    "WebUIOmniboxPopup", "WebUIOmniboxAimPopup",
    # what playwright leaves out too: of two such lists the browser heeds the last
    "AvoidUnnecessaryBeforeUnloadCheckSync", "DestroyProfileOnBrowserClose", "HttpsUpgrades",
    "HttpsFirstBalancedModeAutoEnable", "LensOverlay", "MediaRouter", "PaintHolding",
    "ThirdPartyStoragePartitioning", "AvoidCorsURLLoaderRestartOnRedirect", "OptimizationHints",
    "NetworkTimeServiceQuerying", "AimEnabled", "PreconnectToSearch",
)  # fmt: skip


@contextmanager
def opened_browser() -> Iterator[Any]:
    """Give a browser; a test that asks for one where there is none is skipped."""
    if not CHROMIUM.exists():
        pytest.skip("Debian's chromium is not installed")
    sync_api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    words = ["--no-sandbox", f"--disable-features={','.join(NOT_WANTED)}"]
    with sync_api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=str(CHROMIUM), args=words)
        yield browser
        browser.close()
