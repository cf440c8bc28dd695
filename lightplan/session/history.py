"""Every version of a rig file's text, kept on disk: undo and redo without end.

The journal is a file of lines, each whole when it ends with a line end; a line that was cut
short by a pulled plug is left out. A version is kept as what differs from the one before
it in the journal, so a thousand moves of a lamp take little more than a thousand lines.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

MOST_WORDS = 200
"""Longest "why" that is kept."""


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


class History:
    """Versions in order, and which of them is the present one.

    Parameters
    ----------
    path : Path
        The journal; read when it is there, made with its folder at the first version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.versions: list[Version] = []
        self.position = -1
        self._last_text = ""
        for line in _whole_lines(path):
            self._read(line)

    @property
    def present(self) -> Version | None:
        """The version that stands; None before the first."""
        return self.versions[self.position] if self.versions else None

    @property
    def before(self) -> Version | None:
        """The version that undo goes back to."""
        return self.versions[self.position - 1] if self.position > 0 else None

    @property
    def after(self) -> Version | None:
        """The version that redo goes on to."""
        ahead = self.position + 1
        return self.versions[ahead] if ahead < len(self.versions) else None

    def add(self, version: Version, *, amends: bool = False) -> None:
        """Put a version after the present one; what was undone before is dropped from redo.

        Parameters
        ----------
        amends : bool
            Replace the present version instead: the hand that made it has not let go yet.
        """
        record: dict[str, Any] = {
            "do": "amend" if amends else "add",
            "at": round(version.at, 3),
            "why": version.why[:MOST_WORDS],
            **_difference(self._last_text, version.text),
        }
        self._append(record)
        self._place(version, amends=amends)

    def go(self, step: int) -> Version | None:
        """Go back (-1) or on (1); return the version that then stands, None at the end."""
        target = self.before if step < 0 else self.after
        if target is None:
            return None
        self._append({"do": "go", "to": self.position + step})
        self.position += step
        return target

    def _place(self, version: Version, *, amends: bool) -> None:
        keep = self.position if amends else self.position + 1
        self.versions[max(keep, 0) :] = [version]
        self.position = len(self.versions) - 1
        self._last_text = version.text

    def _append(self, record: dict[str, Any]) -> None:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        line = json.dumps(record, ensure_ascii=False) + "\n"
        with self.path.open("ab") as file:
            if file.tell() and not _ends_whole(self.path):
                file.write(b"\n")  # what was cut short must not swallow this line
            file.write(line.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())

    def _read(self, line: bytes) -> None:
        """Take one line of the journal; what does not fit is left out."""
        with contextlib.suppress(ValueError, KeyError, TypeError):
            record = json.loads(line)
            if record["do"] == "go":
                if 0 <= int(record["to"]) < len(self.versions):
                    self.position = int(record["to"])
                return
            text = _joined(self._last_text, record)
            version = Version(text=text, why=str(record["why"]), at=float(record["at"]))
            self._place(version, amends=record["do"] == "amend")


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
