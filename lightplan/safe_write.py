"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.errors import BadInput

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SCRAP_START, SCRAP_END = ".lightplan-", ".tmp"
_OLD_S = 3600.0
"""Where folders cannot be locked, a scrap is only taken for one when it is this old."""


class FileExists(BadInput):
    """A file of the maker's is in the way, and replacing it was not asked for."""


def atomic_write(
    path: Path, content: bytes | str, *, replace: bool, last_look: Callable[[], None] = lambda: None
) -> Path:
    """Write a file so that it is never seen half-written, whatever happens.

    The content goes to a temporary file in the same folder, which is flushed to disk and
    then takes the name. Folders that are missing are made.

    Parameters
    ----------
    path : Path
    content : bytes or str
        Text is written as UTF-8 with the line ends it has.
    replace : bool
        Whether a file that is there already may be replaced.
    last_look : callable
        Called when all is on the disk, just before the name is taken: what it raises keeps the
        old file. What flushing takes is no time in which another program's change could be lost.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    FileExists
        The file is there and `replace` is false; it is left as it was.
    BadInput
        The folder or file cannot be written.
    """
    with told_as_bad_input(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        with locked(path.parent):
            put(path, as_bytes(content), replace=replace, last_look=last_look)
    return path


@contextlib.contextmanager
def told_as_bad_input(path: Path) -> Iterator[None]:
    """Tell what the system says of a file that is written in one sentence."""
    try:
        yield
    except FileExistsError:
        raise FileExists(
            field="file",
            wanted="a new one",
            got="one that exists",
            cure="give another name, or add --replace",
            file=str(path),
        ) from None
    except OSError as error:
        raise BadInput(
            field="file",
            wanted="in a place that can be written",
            got=str(error.strerror),
            cure="choose another folder",
            file=str(path),
        ) from None


def as_bytes(content: bytes | str) -> bytes:
    """Return what is written for a text; parts of names that are no text become escapes."""
    return content.encode("utf-8", "backslashreplace") if isinstance(content, str) else content


def put(
    path: Path, data: bytes, *, replace: bool, last_look: Callable[[], None] = lambda: None
) -> None:
    """Do as `atomic_write` in a folder that is there and that the caller has locked.

    Raises
    ------
    OSError
        As the system says it; `FileExistsError` where `replace` is false.
    """
    if path.is_dir() or (path.exists() and not replace):
        raise FileExistsError
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=SCRAP_START, suffix=SCRAP_END)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(_mode(path))
        last_look()
        _take_name(temporary, path, replace=replace)
    except BaseException:  # Ctrl-C too must leave no scrap
        temporary.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[bool]:
    """Let one process at a time write into a folder; yields whether that could be had.

    Temporary files live only within this, so whoever holds it knows that those he finds
    were left by a run that was killed.
    """
    if sys.platform == "win32":  # no locks on folders there
        yield False
        return
    import fcntl

    handle, held = os.open(folder, os.O_RDONLY), False
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX)
            held = True
        except OSError:  # a disk that knows no locks
            pass
        yield held
    finally:
        if held:
            unlock(handle)
        os.close(handle)


def unlock(descriptor: int) -> None:
    """Let go of a file's or folder's lock, whoever else holds a copy of the descriptor.

    Closing alone does not: a process that was just forked holds a copy until it becomes itself.
    """
    if sys.platform == "win32":
        return
    import fcntl

    fcntl.flock(descriptor, fcntl.LOCK_UN)


def sweep(folder: Path) -> None:
    """Take away what runs that were killed left half-written in a folder."""
    with contextlib.suppress(OSError), locked(folder) as held:
        for scrap in list(folder.glob(f"{SCRAP_START}*{SCRAP_END}")):
            with contextlib.suppress(OSError):
                if held or time.time() - scrap.stat().st_mtime > _OLD_S:
                    scrap.unlink()


def _take_name(temporary: Path, path: Path, *, replace: bool) -> None:
    if not replace:
        try:
            os.link(temporary, path)  # fails if someone made the file meanwhile
        except FileExistsError:
            raise
        except OSError:  # a disk without links
            if path.exists():
                raise FileExistsError from None
        else:
            temporary.unlink()
            return
    temporary.replace(path)


def _mode(path: Path) -> int:
    if path.exists():
        return path.stat().st_mode & 0o777
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    with contextlib.suppress(OSError):  # not every system can
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


class Scratch:
    """A folder for one process in the system's place for such; it goes with the process.

    A process that is killed cannot take its folder away, so the next one does: whoever
    lives holds a lock on his own.
    """

    _PREFIX = "lightplan-work-"  # temporary folders of other kinds hold no lock

    def __init__(self) -> None:
        place = Path(tempfile.gettempdir())
        with locked(place) as held:
            if held:
                self._take_away_dead(place)
            self._folder = Path(tempfile.mkdtemp(prefix=self._PREFIX, dir=place))
            self._lock = self._locked(self._folder)
        self.path = self._folder / "inside"  # whoever writes a file locks the folder it is in
        self.path.mkdir()

    def close(self) -> None:
        """Take the folder away."""
        shutil.rmtree(self._folder, ignore_errors=True)
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    @classmethod
    def sweep(cls) -> None:
        """Take away the folders of processes that were killed."""
        place = Path(tempfile.gettempdir())
        with contextlib.suppress(OSError), locked(place) as held:
            if held:
                cls._take_away_dead(place)

    @classmethod
    def _take_away_dead(cls, place: Path) -> None:
        for folder in place.glob(f"{cls._PREFIX}*"):
            with contextlib.suppress(OSError):
                if folder.is_symlink() or folder.stat().st_uid != os.getuid():
                    continue
                lock = cls._locked(folder)
                if lock is not None:
                    shutil.rmtree(folder, ignore_errors=True)
                    os.close(lock)

    @staticmethod
    def _locked(folder: Path) -> int | None:
        """Return the lock on a folder; None where somebody has it, or there are no locks."""
        if sys.platform == "win32" or not folder.is_dir():
            return None
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(handle)
            return None
        return handle
