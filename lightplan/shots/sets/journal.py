"""The journal of a batch: one line of JSON for each photograph that is done.

A line is written whole, at once, at the end of the file, so a killed run loses at most
the line it was writing; a torn line is skipped when the journal is read again.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

from lightplan.errors import BadInput
from lightplan.safe_write import unlock

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

FILE_NAME = "journal.jsonl"
_FORMAT = 1
_START = f'{{"format": {_FORMAT}, "key": "'.encode()
_SYNC_EVERY_S = 1.0


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of one photograph.

    Parameters
    ----------
    path : str
        As it was given.
    result : dict or None
        What the judging function returned.
    error : str or None
        One sentence, where there is no result.
    retry : bool
        True where a second run should try again (too slow, crashed).
    seconds : float
        Time it took. [s]
    resumed : bool
        True where it comes from an earlier run.
    """

    path: str
    result: dict[str, Any] | None = None
    error: str | None = None
    retry: bool = False
    seconds: float = 0.0
    resumed: bool = False

    @property
    def file(self) -> str:
        """Name without folder."""
        return Path(self.path).name

    def to_dict(self) -> dict[str, Any]:
        """Return plain values for JSON; the result is the outcome's own, not a copy."""
        return dict(vars(self))


def photograph_key(path: Path, digest: str) -> str:
    """Return a key that changes with the file's place, size, time, or with `digest`.

    Parameters
    ----------
    path : Path
    digest : str
        Of everything else the result depends on: rig, artwork, version of the measures.
    """
    try:
        about = path.stat()
        state = f"{about.st_size}|{about.st_mtime_ns}"
    except OSError:
        state = "missing"
    text = f"{os.path.realpath(path)}|{state}|{digest}"  # of a link to itself, the link
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:32]


class Journal:
    """An append-only file of outcomes; use it as a context manager.

    Parameters
    ----------
    folder : Path
        Made where it is missing.
    resume : bool
        False starts a new journal; the old one is kept beside it as ``.old``.

    Raises
    ------
    BadInput
        Another run is writing there.
    """

    def __init__(self, folder: Path, *, resume: bool = True) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._path = folder / FILE_NAME
        _refuse_foreign(self._path)
        if not resume and self._path.exists():
            self._path.replace(self._path.with_suffix(".jsonl.old"))
        self._file = self._path.open("ab+")
        try:
            _lock(self._file.fileno(), folder)
        except BadInput:
            self._file.close()
            raise
        self._mend()
        self._synced = time.monotonic()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.flush()
        os.fsync(self._file.fileno())
        unlock(self._file.fileno())
        self._file.close()

    def done(self) -> dict[str, Outcome]:
        """Return finished photographs by key; the last line counts where there are several."""
        return {key: self._at(place) for key, (place, _) in self._index().items()}

    def split(
        self, paths: Iterable[Path], digest: str
    ) -> tuple[Iterator[Outcome], dict[Path, str]]:
        """Return what is done already, and the keys of what is left to do, each path once.

        Finished outcomes are read from the file one by one: ten thousand of them are not
        held in memory.
        """
        index, finished, left = self._index(), dict[Path, int](), dict[Path, str]()
        for path in dict.fromkeys(paths):
            key = photograph_key(path, digest)
            place, retry = index.get(key, (-1, True))
            if retry:
                left[path] = key
            else:
                finished[path] = place
        return (replace(self._at(n), path=str(p)) for p, n in finished.items()), left

    def _index(self) -> dict[str, tuple[int, bool]]:
        """Return, by key, where the last line of a photograph starts and whether to retry it."""
        found: dict[str, tuple[int, bool]] = {}
        place = self._file.seek(0)
        for line in self._file:
            entry = _parse(line)
            if entry is not None:
                found[entry[0]] = (place, entry[1].retry)
            place += len(line)
        return found

    def _at(self, place: int) -> Outcome:
        self._file.seek(place)
        entry = _parse(self._file.readline())
        if entry is None:  # the file was changed under us
            raise BadInput(
                field=FILE_NAME,
                wanted="left alone during a run",
                got="changed lines",
                cure="run again",
            )
        return entry[1]

    def add(self, key: str, outcome: Outcome) -> None:
        """Append one outcome; it is with the system when this returns."""
        entry = {"format": _FORMAT, "key": key, **outcome.to_dict()}
        del entry["resumed"]
        line = json.dumps(entry, ensure_ascii=True, allow_nan=False)
        self._file.write(line.encode("ascii") + b"\n")
        self._file.flush()
        if time.monotonic() - self._synced > _SYNC_EVERY_S:
            os.fsync(self._file.fileno())
            self._synced = time.monotonic()

    def _mend(self) -> None:
        """End a torn last line, so that the next one starts afresh."""
        end = self._file.seek(0, os.SEEK_END)
        if end:
            self._file.seek(end - 1)
            if self._file.read(1) != b"\n":
                self._file.write(b"\n")


def _refuse_foreign(path: Path) -> None:
    """Refuse a file of the maker's that happens to have the journal's name."""
    if not path.exists():
        return
    start = b"not a file"
    if path.is_file():
        with path.open("rb") as file:
            start = file.readline(len(_START)).rstrip(b"\n")
    if not _START.startswith(start):  # a torn first line is one of ours too
        raise BadInput(
            field="the output folder",
            wanted=f"without a {FILE_NAME} of yours",
            got="one",
            cure="choose another folder",
            file=str(path),
        )


def _parse(line: bytes) -> tuple[str, Outcome] | None:
    try:
        entry = json.loads(line)
        if entry.pop("format") != _FORMAT:
            return None
        return str(entry.pop("key")), Outcome(**entry, resumed=True)
    except (ValueError, TypeError, KeyError, AttributeError):
        return None


def _lock(descriptor: int, folder: Path) -> None:
    """Refuse a journal that another run holds open."""
    if sys.platform == "win32":
        return
    import fcntl

    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        raise BadInput(
            field="the output folder",
            wanted="used by one run at a time",
            got=folder.name,
            cure="wait for the other run to end, or choose another folder",
        ) from None
