from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from page_server import Served, serve

if TYPE_CHECKING:
    from collections.abc import Iterator


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    page = serve(tmp_path_factory.mktemp("home"), "silver-bookplate-bright")
    yield page
    page.stop()
