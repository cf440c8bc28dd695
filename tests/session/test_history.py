from __future__ import annotations

import tracemalloc
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightplan.errors import BadInput
from lightplan.session.history import History, Version

if TYPE_CHECKING:
    from pathlib import Path


def version(text: str, why: str = "moved") -> Version:
    return Version(text=text, why=why, at=1.0)


def filled(path: Path, *texts: str) -> History:
    history = History(path)
    for text in texts:
        history.add(version(text))
    return history


def texts(history: History) -> list[str]:
    return [history.version(i).text for i in range(len(history.entries))]


def test_all_versions_are_read_back_in_order(tmp_path):
    filled(tmp_path / "h", "lamp = 1\n", "lamp = 12\n", "card\nlamp = 12\n", "", "é = 'ü'\n")
    again = History(tmp_path / "h")
    assert texts(again) == ["lamp = 1\n", "lamp = 12\n", "card\nlamp = 12\n", "", "é = 'ü'\n"]
    assert again.position == 4


def test_where_undo_had_come_to_is_read_back(tmp_path):
    history = filled(tmp_path / "h", "a", "b", "c")
    assert history.go(-1) == version("b")
    assert history.go(-1) == version("a")
    assert history.go(-1) is None
    again = History(tmp_path / "h")
    assert again.present == version("a")
    assert again.after == version("b")


def test_a_change_after_undo_drops_what_was_undone(tmp_path):
    history = filled(tmp_path / "h", "a", "b", "c")
    history.go(-1)
    history.go(-1)
    history.add(version("d"))
    assert texts(history) == ["a", "d"]
    assert texts(History(tmp_path / "h")) == ["a", "d"]


def test_an_amended_version_takes_the_place_of_the_present_one(tmp_path):
    history = filled(tmp_path / "h", "a", "b")
    history.add(version("b2"), amends=True)
    assert texts(history) == ["a", "b2"]
    assert texts(History(tmp_path / "h")) == ["a", "b2"]


def test_a_line_cut_short_loses_that_version_alone(tmp_path):
    path = tmp_path / "h"
    filled(path, "a = 1\n", "a = 2\n", "a = 3\n")
    path.write_bytes(path.read_bytes()[:-20])
    again = History(path)
    assert texts(again) == ["a = 1\n", "a = 2\n"]
    again.add(version("a = 4\n"))
    assert texts(History(path)) == ["a = 1\n", "a = 2\n", "a = 4\n"]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.text(alphabet="ab\n=é", max_size=12), min_size=1, max_size=12))
def test_any_texts_come_back(tmp_path_factory, many):
    path = tmp_path_factory.mktemp("h") / "h"
    filled(path, *many)
    assert texts(History(path)) == many


def test_a_thousand_small_moves_take_little_room(tmp_path):
    text = "# a rig\n" + "x = 1.0\n" * 500
    filled(tmp_path / "h", *[f"{text}y = {i}\n{text}" for i in range(200)])
    assert (tmp_path / "h").stat().st_size < 200 * 250 + 2 * len(text)


def test_texts_stay_on_the_disk(tmp_path):
    text = "# a rig\n" + "x = 1.0\n" * 2000
    many = [f"{text}y = {i}\n" for i in range(300)]
    tracemalloc.start()
    history = filled(tmp_path / "h", *many)
    held, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert held < 20 * len(text)  # of 300 texts
    assert texts(history) == many
    assert texts(History(tmp_path / "h")) == many


def test_a_history_that_was_taken_away_is_told_in_a_sentence(tmp_path):
    history = filled(tmp_path / "h", "a", "b", "c")
    (tmp_path / "h").unlink()
    with pytest.raises(BadInput, match="history must be as lightplan wrote it"):
        history.go(-1)
    assert history.present == version("c")
