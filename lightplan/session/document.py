"""A rig file that is open: its text and its rig change together, and every change can be undone.

The file is written beside its place and renamed, and only when it still is what was read or
written last: what an editor changed meanwhile is never overwritten unasked.
"""

from __future__ import annotations

import contextlib
import threading
import time
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightplan.errors import BadInput, RigError
from lightplan.rigfiles.load import form_of, loaded_from, read_text
from lightplan.rigfiles.tables import document_of
from lightplan.rigfiles.write import changed_text
from lightplan.safe_write import atomic_write
from lightplan.scene.sanity import refuse_impossible
from lightplan.session.history import History, Version, digest_of

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from lightplan.rigfiles import LoadedRig, PlanRecord
    from lightplan.scene import Card, Freedom, Lamp, Rig, Shell

SIDE_FOLDER = ".lightplan"
"""Beside the rig file: where its history lies."""
MOST_LOOKED_BACK = 200
"""Versions in which the freedoms of a thing that was locked are looked for."""
ELSEWHERE = "changed in another program"
WENT = "undo or redo"


class ChangedElsewhere(BadInput):
    """The file is no longer what was read: another program wrote to it."""


class Document:
    """One rig file, open.

    Parameters
    ----------
    path : Path
    clock : callable
        Seconds since 1970.

    Raises
    ------
    BadInput
        When the file cannot be read, or is no rig.
    """

    def __init__(self, path: Path, *, clock: Callable[[], float] = time.time) -> None:
        self.path = path.resolve()
        self._clock = clock
        self._disk = self._text = _read(self.path)
        self._base = self._read_as_mine(self._text)  # what the text says
        self._rig = self._base.rig  # what stands now; the text follows when it is asked for
        self._why = ""
        self._gesture: str | None = None
        self._saved_gesture: str | None = None
        self.revision = 0
        self._writing = threading.RLock()  # a save in a thread of its own, beside a hand that moves
        self._is_aside = False
        self.history = History(history_path(self.path))
        self._note_what_was_found()

    def _note_what_was_found(self) -> None:
        """Bring the history up to date with the file as it is opened."""
        history, intent = self.history, self.history.intent
        present = history.present
        if present is None:
            history.add(Version(text=self._disk, why="opened", at=self._clock()))
        elif present.text == self._disk:
            return
        elif intent is not None and intent.digest == digest_of(self._disk):
            # a process of ours ended between the file and its version
            steps = {-1: history.before, 1: history.after}
            gone = [n for n, one in steps.items() if one is not None and one.text == self._disk]
            if intent.why == WENT and gone:
                history.go(gone[0])
            else:
                mine = Version(text=self._disk, why=intent.why, at=intent.at)
                history.add(mine, amends=intent.amends)
        else:
            history.add(Version(text=self._disk, why=ELSEWHERE, at=self._clock()))

    @property
    def rig(self) -> Rig:
        """The rig as it stands now."""
        return self._rig

    @property
    def loaded(self) -> LoadedRig:
        """The rig and what stands beside it in the file, as of the last text."""
        self._follow()
        return self._base

    @property
    def text(self) -> str:
        """The text of the file as it stands now, comments and all."""
        self._follow()
        return self._text

    @property
    def is_saved(self) -> bool:
        """Whether all that was done is on the disk."""
        return self._rig is self._base.rig and self._text == self._disk

    @property
    def can_undo(self) -> str | None:
        """What undo would take back, in words; None where there is nothing."""
        if not self.is_saved:
            return self._why
        return self.history.undoes

    @property
    def can_redo(self) -> str | None:
        """What redo would do again, in words; None where there is nothing."""
        return self.history.redoes if self.is_saved else None

    def change(self, rig: Rig, why: str, *, gesture: str | None = None) -> None:
        """Take a changed rig.

        Parameters
        ----------
        rig : Rig
        why : str
            What was done, in words for the list of changes.
        gesture : str or None
            Changes with the same mark, one after the other, are one step of undo: a lamp
            that is dragged sends a hundred of them.
        """
        refuse_impossible(rig)
        if gesture is None or gesture != self._gesture:
            self.let_go()
        self._gesture = gesture
        self._rig, self._why = rig, why
        self.revision += 1

    def unlocking(self, rig: Rig) -> Rig:
        """Return a rig in which what this change unlocks may move as before it was locked.

        A locked thing has no freedoms in the file; what they were stands in the history.
        """
        freed = _locked(self._rig) - _locked(rig) - {f.element for f in rig.freedoms}
        found = [f for name in sorted(freed) for f in self._freedoms_before(name)]
        return replace(rig, freedoms=(*rig.freedoms, *found)) if found else rig

    def _freedoms_before(self, name: str) -> tuple[Freedom, ...]:
        last = self.history.position
        for number in range(last, max(-1, last - MOST_LOOKED_BACK), -1):
            text = self.history.version(number).text
            if f'element = "{name}"' not in text:
                continue
            with contextlib.suppress(BadInput):
                freedoms = self._read_as_mine(text).rig.freedoms
                if own := tuple(f for f in freedoms if f.element == name):
                    return own
        return ()

    def set_text(self, text: str, why: str) -> None:
        """Take a changed text.

        Raises
        ------
        BadInput
            When it is no rig; nothing changes then.
        """
        loaded = self._read_as_mine(text)
        self.let_go()
        self._stand(text, loaded)
        self._why = why
        self.save()

    def take_plan(self, rig: Rig, record: PlanRecord, why: str) -> None:
        """Take a planned rig, and keep with it what is promised of it."""
        self.let_go()
        self.set_text(changed_text(self.text, self._base.rig, rig, plan=record), why)

    def save(self) -> bool:
        """Write what is not on the disk yet; return whether there was anything.

        Raises
        ------
        ChangedElsewhere
            When another program wrote to the file meanwhile; it stays as it is then, and what
            stands here is kept in the history.
        """
        with self._writing:
            why, gesture = self._why, self._gesture
            self._follow()
            if self._text == self._disk:
                return False
            mine = Version(text=self._text, why=why, at=self._clock())
            amends = gesture is not None and gesture == self._saved_gesture
            try:
                self._write(mine, amends=amends)
            except ChangedElsewhere:
                self._set_aside(mine)
                raise
            self._saved_gesture = gesture
            self.history.add(mine, amends=amends)
            return True

    def _write(self, version: Version, *, amends: bool = False) -> None:
        """Write a text to the file unless another program wrote there."""
        self._refuse_if_changed()
        self.history.intend(version, amends=amends)
        atomic_write(self.path, version.text, replace=True, last_look=self._refuse_if_changed)
        self._disk = version.text
        self._is_aside = False

    def _set_aside(self, mine: Version) -> None:
        """Keep in the history what cannot be written: the process may end before it is decided."""
        present = self.history.present
        if present is not None and self._is_aside and present.text == mine.text:
            return
        self.history.add(mine, amends=self._is_aside)
        self._is_aside = True

    def undo(self) -> str | None:
        """Take the last change back; return what it was, None where there is nothing left."""
        return self._go(-1)

    def redo(self) -> str | None:
        """Do again what was taken back; return what it is, None where there is nothing."""
        return self._go(1)

    def changed_elsewhere(self) -> str | None:
        """Return the text that another program left in the file; None when it is ours."""
        with contextlib.suppress(BadInput):
            text = _read(self.path)
            return None if digest_of(text) == digest_of(self._disk) else text
        return None  # taken away, or being written just now: the next look will tell

    def take_theirs(self) -> None:
        """Take what another program wrote; what stood here before can be had back by undo.

        Raises
        ------
        BadInput
            When it is no rig.
        """
        theirs = _read(self.path)
        loaded = self._read_as_mine(theirs)
        if self.text != self._disk:
            self._set_aside(Version(text=self.text, why=self._why, at=self._clock()))
        self._disk, self._is_aside = theirs, False
        self._gesture = None
        self._stand(theirs, loaded)
        self.history.add(Version(text=theirs, why=ELSEWHERE, at=self._clock()))

    def keep_mine(self) -> None:
        """Write what stands here over what another program wrote; theirs stays in the history."""
        self._follow()
        self._disk, self._is_aside = _read(self.path), False
        self._gesture = None
        self.history.add(Version(text=self._disk, why=ELSEWHERE, at=self._clock()))
        self._why = self._why if self._why else "kept as it was here"
        self.save()

    def _go(self, step: int) -> str | None:
        self.let_go()
        present = self.history.present
        target = self.history.before if step < 0 else self.history.after
        if present is None or target is None:
            return None
        loaded = self._read_as_mine(target.text)
        self._write(Version(text=target.text, why=WENT, at=self._clock()))
        self._stand(target.text, loaded)
        self.history.go(step)
        return present.why if step < 0 else target.why

    def _stand(self, text: str, loaded: LoadedRig) -> None:
        """Make a text and its rig the present ones; parts that are the same stay the same object.

        The light of what did not change is then not worked out anew.
        """
        rig = _keeping(loaded.rig, self._rig)
        self._text, self._base, self._rig = text, replace(loaded, rig=rig), rig
        self.revision += 1

    def _refuse_if_changed(self) -> None:
        if self.changed_elsewhere() is not None:
            raise ChangedElsewhere(
                field="file",
                wanted="as it was when lightplan last read it",
                got="one that another program changed since",
                cure="take its changes, or keep yours; neither is lost",
                file=str(self.path),
            )

    def let_go(self) -> None:
        """Put what a hand did on the disk; what comes next is another step of undo."""
        self.save()
        self._gesture = self._saved_gesture = None

    def _follow(self) -> None:
        """Bring the text up to date with the rig."""
        with self._writing:
            rig = self._rig  # a hand may move on while this is written
            if rig is self._base.rig:
                return
            text = changed_text(self._text, self._base.rig, rig)
            self._base = replace(self._read_as_mine(text), rig=rig)
            self._text = text

    def _read_as_mine(self, text: str) -> LoadedRig:
        with _named(self.path):
            return loaded_from(form_of(text), self.path)


def _locked(rig: Rig) -> set[str]:
    things: list[Lamp | Card | Shell] = [*rig.lamps, *rig.cards, *rig.shells]
    return {thing.name for thing in things if thing.locked}


def history_path(path: Path) -> Path:
    """Return where the history of a rig file lies."""
    return path.parent / SIDE_FOLDER / f"{path.stem}.history.jsonl"


def _read(path: Path) -> str:
    with _named(path):
        if not path.is_file():
            raise RigError(
                field="file", wanted="one that is there", got="nothing", cure="check its name"
            )
        return read_text(path)


@contextlib.contextmanager
def _named(path: Path) -> Iterator[None]:
    try:
        yield
    except BadInput as error:
        raise error.within(file=str(path)) from None


def _keeping(new: Rig, old: Rig) -> Rig:
    """Return the new rig with the old one's sheet and room where they say the same."""
    told_new, told_old = document_of(new), document_of(old)
    kept: dict[str, Any] = {}
    same_art = np.array_equal(new.sheet.artwork, old.sheet.artwork)
    if same_art and told_new["sheet"] == told_old["sheet"]:
        kept["sheet"] = old.sheet
    if new.room.probe is None and told_new["room"] == told_old["room"]:
        kept["room"] = old.room
    return replace(new, **kept)
