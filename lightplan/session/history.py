"""Every version of a rig file's text, kept on disk: undo and redo without end.

The journal is a file of lines, each whole when it ends with a line end; a line that was cut
short by a pulled plug is left out. A version is kept as what differs from the one before
it in the journal, so a thousand moves of a lamp take little more than a thousand lines; now and
then a line holds its text whole. Texts stay on the disk: in memory is where each line begins.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from array import array
from bisect import bisect_right
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

MOST_WORDS = 200
"""Longest "why" that is kept."""
WHOLE_EVERY = 256
"""So often a line holds its whole text: no text is put together from more lines than that."""
AT_HAND = 8
"""Texts that were read last and stay in memory."""


def digest_of(text: str) -> str:
    """Return the sha256 of a text as 64 hex digits."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


@dataclass(frozen=True, kw_only=True)
class Version:
    """One version of the text.

    Parameters
    ----------
    text : str
    why : str
        What was done, in the maker's words ("moved sky").
    at : float
        When, in seconds since 1970.
    """

    text: str
    why: str
    at: float


@dataclass(frozen=True)
class Entry:
    """One version without its text: why, when, and the number of its line."""

    why: str
    at: float
    line: int


@dataclass(frozen=True)
class Intent:
    """What is about to be written to the rig file: the text's digest, why, when, and how."""

    digest: str
    why: str
    at: float
    amends: bool


class History:
    """Versions in order, and which of them is the present one.

    Parameters
    ----------
    path : Path
        The journal; read when it is there, made with its folder at the first version.

    Attributes
    ----------
    entries : list of Entry
    position : int
        Of the present one; -1 before the first.
    intent : Intent or None
        What was about to be written when the process ended; None where it was written and noted.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.entries: list[Entry] = []
        self.position = -1
        self.intent: Intent | None = None
        self._last_text = ""
        self._begins = array("Q")  # where each line that holds a text begins, bytes
        self._whole: list[int] = []  # numbers of those that hold it whole
        self._text_of = lru_cache(AT_HAND)(self._read_text)
        at = 0
        for line in _whole_lines(path):
            self._read(line, at)
            at += len(line) + 1

    @property
    def present(self) -> Version | None:
        """The version that stands; None before the first."""
        return self._at(self.position)

    @property
    def before(self) -> Version | None:
        """The version that undo goes back to."""
        return self._at(self.position - 1)

    @property
    def after(self) -> Version | None:
        """The version that redo goes on to."""
        return self._at(self.position + 1)

    @property
    def undoes(self) -> str | None:
        """What undo would take back, in words; None where there is nothing."""
        return self.entries[self.position].why if self.position > 0 else None

    @property
    def redoes(self) -> str | None:
        """What redo would do again, in words; None where there is nothing."""
        ahead = self.position + 1
        return self.entries[ahead].why if ahead < len(self.entries) else None

    def version(self, number: int) -> Version:
        """Return a version with its text, from the disk."""
        entry = self.entries[number]
        return Version(text=self._text_of(entry.line), why=entry.why, at=entry.at)

    def add(self, version: Version, *, amends: bool = False) -> None:
        """Put a version after the present one; what was undone before is dropped from redo.

        Parameters
        ----------
        amends : bool
            Replace the present version instead: the hand that made it has not let go yet.
        """
        number = len(self._begins)
        is_whole = not self._whole or number - self._whole[-1] >= WHOLE_EVERY
        record: dict[str, Any] = {
            "do": "amend" if amends else "add",
            "at": round(version.at, 3),
            "why": version.why[:MOST_WORDS],
            **_difference("" if is_whole else self._last_text, version.text),
        }
        begins = self._append(record)
        self._place(record, version.text, begins)

    def intend(self, version: Version, *, amends: bool = False) -> None:
        """Note what is about to be written to the rig file.

        A process that ends between the file and its version is then understood when the file
        is opened again: nobody else changed it.
        """
        told = Intent(digest_of(version.text), version.why[:MOST_WORDS], version.at, amends)
        self._append({"do": "intend", **asdict(told)})

    def go(self, step: int) -> Version | None:
        """Go back (-1) or on (1); return the version that then stands, None at the end."""
        target = self.before if step < 0 else self.after
        if target is None:
            return None
        self._append({"do": "go", "to": self.position + step})
        self.position += step
        return target

    def _at(self, number: int) -> Version | None:
        return self.version(number) if 0 <= number < len(self.entries) else None

    def _place(self, record: Mapping[str, Any], text: str, begins: int) -> None:
        line = len(self._begins)
        self._begins.append(begins)
        if not record["head"] and not record["foot"]:
            self._whole.append(line)
        entry = Entry(str(record["why"]), float(record["at"]), line)
        keep = self.position if record["do"] == "amend" else self.position + 1
        self.entries[max(keep, 0) :] = [entry]
        self.position = len(self.entries) - 1
        self._last_text = text

    def _append(self, record: Mapping[str, Any]) -> int:
        """Write a line; return where it begins."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        line = json.dumps(record, ensure_ascii=False) + "\n"
        with self.path.open("ab") as file:
            if file.tell() and not _ends_whole(self.path):
                file.write(b"\n")  # what was cut short must not swallow this line
            begins = file.tell()
            file.write(line.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        return begins

    def _read(self, line: bytes, begins: int) -> None:
        """Take one line of the journal; what does not fit is left out."""
        with contextlib.suppress(ValueError, KeyError, TypeError):
            record = json.loads(line)
            if record["do"] == "intend":
                told = (str(record["digest"]), str(record["why"]), float(record["at"]))
                self.intent = Intent(*told, record["amends"] is True)
                return
            self.intent = None
            if record["do"] == "go":
                if 0 <= int(record["to"]) < len(self.entries):
                    self.position = int(record["to"])
                return
            self._place(record, _joined(self._last_text, record), begins)

    def _read_text(self, line: int) -> str:
        """Return the text of a line: from the last whole one before it, change by change."""
        if line == len(self._begins) - 1:
            return self._last_text
        first = self._whole[bisect_right(self._whole, line) - 1]
        text = ""
        try:
            with self.path.open("rb") as file:
                for number in range(first, line + 1):
                    file.seek(self._begins[number])
                    text = _joined(text, json.loads(file.readline()))
        except (OSError, ValueError, KeyError) as error:
            raise BadInput(
                field="history",
                wanted="as lightplan wrote it",
                got="taken away or changed by another program",
                cure="put the file back; the work itself is as it stands",
                file=str(self.path),
            ) from error
        return text


def _difference(old: str, new: str) -> dict[str, Any]:
    """Return how much of the old text stays at its head and foot, and what stands between."""
    head = _alike(old, new)
    rest_old, rest_new = old[head:], new[head:]
    foot = _alike(rest_old[::-1], rest_new[::-1])
    middle = rest_new[: len(rest_new) - foot]
    return {"head": head, "foot": foot, "text": middle, "digest": digest_of(new)}


def _alike(one: str, other: str) -> int:
    """Return how many characters two texts have in common at their head."""
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        if one[:middle] == other[:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def _joined(old: str, record: dict[str, Any]) -> str:
    head, foot = int(record["head"]), int(record["foot"])
    text = old[:head] + str(record["text"]) + (old[len(old) - foot :] if foot else "")
    if digest_of(text) != record["digest"]:
        raise ValueError
    return text


def _whole_lines(path: Path) -> list[bytes]:
    try:
        content = path.read_bytes()
    except OSError:
        return []
    return content.split(b"\n")[:-1]


def _ends_whole(path: Path) -> bool:
    with path.open("rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"
