from __future__ import annotations

from collections.abc import Iterator

import pytest
from page_server import Served, serve


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    page = serve(tmp_path_factory.mktemp("home"), "silver-bookplate-bright")
    yield page
    page.stop()
