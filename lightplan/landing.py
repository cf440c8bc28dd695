"""Which photographs of a folder are whole: a copy that still grows is no photograph yet."""

from __future__ import annotations

import stat
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from pathlib import Path

SETTLED_S = 0.3
"""A file counts as whole when size and time have stood still this long, and its end is there."""
STILL_S = 10.0
"""After which a file without its end mark counts as whole: some have tails."""
# How files of these kinds end: the JPEG marker EOI, the chunk IEND of PNG with its checksum.
_ENDS = {".jpg": b"\xff\xd9", ".jpeg": b"\xff\xd9", ".png": b"IEND\xaeB`\x82"}
_TAIL = 4096  # cameras and phones may pad a file after its end

State: TypeAlias = tuple[int, int]
"""Size of a file in bytes, and when it was written in nanoseconds."""


@dataclass
class _Growing:
    """A file that may still be growing."""

    state: State | None
    since: float
    is_whole: bool


class Landing:
    """Photographs as they land, each once; one that is written again lands again."""

    def __init__(self) -> None:
        self._seen: dict[Path, State | None] = {}
        self._growing: dict[Path, _Growing] = {}

    @property
    def waits(self) -> bool:
        """Whether a file is looked at that may still be growing."""
        return bool(self._growing)

    def take(self, paths: Iterable[Path]) -> None:
        """Count files as landed, as they are now."""
        self._seen |= {path: _state(path) for path in paths}

    def keep(self, paths: Collection[Path]) -> list[Path]:
        """Forget all files but these; return those that had landed and are gone.

        One of the same name that comes later is new.
        """
        gone = [path for path in self._seen if path not in paths]
        for path in gone:
            del self._seen[path]
        return gone

    def notice(self, paths: Iterable[Path], *, now: float, is_whole: bool = False) -> None:
        """Begin to look at files that may be new, or another than the one that landed.

        Parameters
        ----------
        paths : iterable of Path
        now : float
            By the clock of `time.monotonic`. [s]
        is_whole : bool
            They were put there at once: nothing of them is to come.
        """
        for path in paths:
            state = _state(path)
            if state is not None and state != self._seen.get(path):
                since = now - _stood_s(path, state)
                self._growing.setdefault(path, _Growing(state, since, is_whole))

    def landed(self, *, now: float) -> list[Path]:
        """Return the files that have become whole since they were noticed, the oldest first."""
        done = []
        for path, one in list(self._growing.items()):
            state = _state(path)
            if state is None:  # removed or renamed before it was whole
                del self._growing[path]
            elif state != one.state:
                one.state, one.since = state, now
            elif one.is_whole or (
                now - one.since >= SETTLED_S and _has_come(path, now - one.since)
            ):
                del self._growing[path]
                self._seen[path] = state
                done.append(path)
        return sorted(done, key=_written_at)


def _stood_s(path: Path, state: State) -> float:
    """Return the seconds that a file has stood still before it was noticed, as far as it matters.

    Only of kinds with an end mark: a copy may bear the time of what it is copied from.
    """
    if path.suffix.lower() not in _ENDS:
        return 0.0
    return min(max(time.time() - 1e-9 * state[1], 0.0), 2.0 * SETTLED_S)


def _has_come(path: Path, still_s: float) -> bool:
    return still_s >= SETTLED_S and (still_s > STILL_S or _has_end(path))


def _has_end(path: Path) -> bool:
    """Whether a file has its end; of kinds that have no mark there, whether it holds anything.

    A slow copy may stand still for a second: without this it would be judged half-copied.
    """
    end = _ENDS.get(path.suffix.lower())
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            if end is None:
                return size > 0
            file.seek(max(0, size - _TAIL))
            return end in file.read()
    except OSError:
        return False


def _written_at(path: Path) -> int:
    state = _state(path)
    return 0 if state is None else state[1]


def _state(path: Path) -> State | None:
    try:
        about = path.stat()
    except OSError:  # gone, or a link that leads nowhere
        return None
    return (about.st_size, about.st_mtime_ns) if stat.S_ISREG(about.st_mode) else None
