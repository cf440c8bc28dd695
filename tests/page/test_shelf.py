"""Two things of the shelf side by side."""

from __future__ import annotations

import asyncio

import pytest
from silent_tab import Tab

from lightplan.errors import BadInput
from lightplan.page import keeping
from lightplan.page.desk import Desk


def test_two_of_the_shelf_are_compared_by_what_they_need_and_where_all_stands(
    tmp_path, monkeypatch
):
    monkeypatch.setenv("LIGHTPLAN_HOME", str(tmp_path))

    async def compared() -> Tab:
        desk, tab = Desk(None), Tab()
        desk.pictures = dict.fromkeys(("none",), "")
        desk._brush = Idle()
        await keeping._shelf(desk, tab, {})
        keys = [entry["key"] for entry in tab.heard[0]["entries"][:2]]
        await keeping._compare(desk, tab, {"keys": keys})
        for wrong in (None, keys[:1], [*keys, keys[0]], [keys[0], "/etc/passwd"], [[], {}]):
            with pytest.raises(BadInput, match="must be two of the shelf"):
                await keeping._compare(desk, tab, {"keys": wrong})
        return tab

    tab = asyncio.run(compared())
    entries, told = tab.heard[0]["entries"], tab.heard[1]["two"]
    assert [one["title"] for one in told] == [one["title"] for one in entries[:2]]
    for one in told:
        assert one["needs"]
        assert any(thing["name"] == "camera" for thing in one["set"]["things"])


class Idle:
    """Paints nothing."""

    def doing(self, purpose: str) -> bool:
        return True
