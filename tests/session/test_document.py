from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from lightplan import safe_write
from lightplan.errors import RigError
from lightplan.rigfiles import load_rig, rig_digest
from lightplan.scene.dimensions import set_values, value_of
from lightplan.session.document import ChangedElsewhere, Document, history_path
from lightplan.session.history import History
from lightplan.tasks.changing import changed

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.scene import Rig


def moved(rig: Rig, x_mm: float) -> Rig:
    return set_values(rig, {("side softbox", "x_mm"): x_mm})


def x_in(source: Document | Path) -> float:
    rig = source.rig if isinstance(source, Document) else load_rig(source).rig
    return value_of(rig, "side softbox", "x_mm")


def edit(path: Path, old: str, new: str) -> None:
    path.write_text(path.read_text("utf-8").replace(old, new), "utf-8")


def test_a_change_is_written_and_comments_stay(rig_file):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved side softbox")
    document.save()
    assert x_in(rig_file) == -500.0
    assert "# Lights the paper: outside of what the foil mirrors." in rig_file.read_text("utf-8")
    assert rig_digest(document.rig) == load_rig(rig_file).digest


def test_undo_and_redo_go_all_the_way_and_back(rig_file):
    before = rig_file.read_text("utf-8")
    document = Document(rig_file)
    for x in (-500.0, -510.0, -520.0):
        document.change(moved(document.rig, x), f"moved to {x:g}")
    assert document.undo() == "moved to -520"
    assert x_in(document) == x_in(rig_file) == -510.0
    assert [document.undo(), document.undo()] == ["moved to -510", "moved to -500"]
    assert rig_file.read_text("utf-8") == before
    assert document.undo() is None
    assert [document.redo() for _ in range(4)] == [
        "moved to -500",
        "moved to -510",
        "moved to -520",
        None,
    ]
    assert x_in(rig_file) == -520.0


def test_undo_reaches_back_beyond_a_restart(rig_file):
    before = rig_file.read_text("utf-8")
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved")
    document.save()
    again = Document(rig_file)
    assert again.can_undo == "moved"
    again.undo()
    assert rig_file.read_text("utf-8") == before
    assert Document(rig_file).can_redo == "moved"


def test_one_drag_is_one_step_however_often_it_was_saved(rig_file):
    document = Document(rig_file)
    for x in range(40):
        document.change(moved(document.rig, -500.0 - x), "moved side softbox", gesture="g1")
        if x % 10 == 0:
            document.save()
    document.change(moved(document.rig, -600.0), "moved side softbox", gesture="g2")
    document.undo()
    assert x_in(document) == -539.0
    document.undo()
    assert x_in(document) == -440.0
    assert document.undo() is None


def test_killed_in_a_drag_loses_what_came_after_the_last_save_alone(rig_file):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved", gesture="g")
    document.save()
    document.change(moved(document.rig, -501.0), "moved", gesture="g")
    del document  # as if the plug was pulled
    assert x_in(Document(rig_file)) == -500.0


def test_what_an_editor_changed_is_not_overwritten(rig_file):
    document = Document(rig_file)
    edit(rig_file, "trim_stops = -0.5", "trim_stops = -2 # less")
    theirs = rig_file.read_text("utf-8")
    document.change(moved(document.rig, -500.0), "moved")
    with pytest.raises(ChangedElsewhere, match="another program changed since"):
        document.save()
    assert rig_file.read_text("utf-8") == theirs
    assert document.changed_elsewhere() == theirs


def test_their_change_can_be_taken_and_mine_had_back(rig_file):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved")
    edit(rig_file, "trim_stops = -0.5", "trim_stops = -2")
    document.take_theirs()
    assert (x_in(document), value_of(document.rig, "under light", "trim_stops")) == (-440.0, -2.0)
    document.undo()
    assert (x_in(rig_file), value_of(document.rig, "under light", "trim_stops")) == (-500.0, -0.5)


def test_mine_can_be_kept_and_theirs_had_back(rig_file):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved")
    edit(rig_file, "trim_stops = -0.5", "trim_stops = -2")
    document.keep_mine()
    assert (x_in(rig_file), value_of(document.rig, "under light", "trim_stops")) == (-500.0, -0.5)
    document.undo()
    assert value_of(load_rig(rig_file).rig, "under light", "trim_stops") == -2.0


def test_an_editor_s_change_while_it_was_closed_is_a_step_of_its_own(rig_file):
    Document(rig_file)
    edit(rig_file, "trim_stops = -0.5", "trim_stops = -2")
    document = Document(rig_file)
    assert document.can_undo == "changed in another program"
    document.undo()
    assert "trim_stops = -0.5" in rig_file.read_text("utf-8")


def test_a_broken_text_changes_nothing(rig_file):
    document = Document(rig_file)
    before = document.text
    with pytest.raises(RigError, match=r"mine\.toml.*width_mm"):
        document.set_text(before.replace("width_mm = 120", "width_mm = -1"), "typed")
    assert document.text == before == rig_file.read_text("utf-8")


def test_the_sheet_stays_the_same_object_through_undo(rig_file):
    document = Document(rig_file)
    sheet, room = document.rig.sheet, document.rig.room
    document.change(moved(document.rig, -500.0), "moved")
    document.undo()
    assert document.rig.sheet is sheet
    assert document.rig.room is room


def test_a_history_that_is_garbage_is_no_hindrance(rig_file):
    history_path(rig_file).parent.mkdir()
    history_path(rig_file).write_bytes(b'\xff\xfe\n{"do": "go"}\n[]\n{"do": "go", "to": 7}\nx')
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved")
    document.save()
    assert Document(rig_file).can_undo == "moved"


def test_a_thing_that_is_unlocked_may_move_as_before(rig_file):
    document = Document(rig_file)
    before = [f for f in document.rig.freedoms if f.element == "sky"]
    assert before
    document.change(changed(document.rig, [{"do": "lock", "element": "sky", "locked": True}]), "x")
    document.save()
    assert [f for f in document.rig.freedoms if f.element == "sky"] == []
    again = Document(rig_file)  # as after a restart
    asked = [{"do": "lock", "element": "sky", "locked": False}]
    again.change(again.unlocking(changed(again.rig, asked)), "y")
    again.save()
    assert [f for f in Document(rig_file).rig.freedoms if f.element == "sky"] == before


class PulledError(BaseException):
    """The plug was pulled."""


def pull(*_: object, **__: object) -> None:
    raise PulledError


def test_a_plug_pulled_between_file_and_history_is_no_change_of_another_program(
    rig_file, monkeypatch
):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved side softbox")
    document.save()
    document.change(moved(document.rig, -520.0), "moved it farther")
    with monkeypatch.context() as plug:
        plug.setattr(History, "add", pull)
        with pytest.raises(PulledError):
            document.save()
    again = Document(rig_file)
    assert (x_in(again), again.can_undo) == (-520.0, "moved it farther")
    assert again.undo() == "moved it farther"
    assert again.undo() == "moved side softbox"
    assert again.can_undo is None


def test_a_plug_pulled_while_a_hand_drags_leaves_one_step(rig_file, monkeypatch):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved", gesture="g")
    document.save()
    document.change(moved(document.rig, -510.0), "moved", gesture="g")
    with monkeypatch.context() as plug:
        plug.setattr(History, "add", pull)
        with pytest.raises(PulledError):
            document.save()
    again = Document(rig_file)
    assert x_in(again) == -510.0
    again.undo()
    assert (x_in(again), again.can_undo) == (-440.0, None)


@pytest.mark.parametrize("way", ["undo", "redo"])
def test_a_plug_pulled_in_the_middle_of_undo_leaves_a_history_that_fits(rig_file, monkeypatch, way):
    document = Document(rig_file)
    for x in (-500.0, -510.0):
        document.change(moved(document.rig, x), f"moved to {x:g}")
    document.save()
    if way == "redo":
        document.undo()
    with monkeypatch.context() as plug:
        plug.setattr(History, "go", pull)
        with pytest.raises(PulledError):
            getattr(document, way)()
    again = Document(rig_file)
    told = (x_in(again), again.can_undo, again.can_redo)
    if way == "undo":
        assert told == (-500.0, "moved to -500", "moved to -510")
    else:
        assert told == (-510.0, "moved to -510", None)


def test_an_edit_that_comes_while_the_file_is_flushed_is_not_lost(rig_file, monkeypatch):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved")
    flush = safe_write.os.fsync

    def slowly(handle: int) -> None:  # and an editor saves just then
        flush(handle)
        if "trim_stops = -2" not in rig_file.read_text("utf-8"):
            edit(rig_file, "trim_stops = -0.5", "trim_stops = -2")

    with monkeypatch.context() as disk:
        disk.setattr(safe_write.os, "fsync", slowly)
        with pytest.raises(ChangedElsewhere):
            document.save()
    assert "trim_stops = -2" in rig_file.read_text("utf-8")


def test_what_waits_for_the_answer_outlasts_the_process(rig_file):
    document = Document(rig_file)
    document.change(moved(document.rig, -500.0), "moved side softbox")
    edit(rig_file, "trim_stops = -0.5", "trim_stops = -2")
    for _ in range(3):  # the page tries again and again
        with pytest.raises(ChangedElsewhere):
            document.save()
    again = Document(rig_file)  # killed before the maker answered
    assert value_of(again.rig, "under light", "trim_stops") == -2.0
    assert again.undo() == "changed in another program"
    assert (x_in(again), value_of(again.rig, "under light", "trim_stops")) == (-500.0, -0.5)
    assert again.undo() == "moved side softbox"
    assert again.can_undo is None
