"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from lightplan.errors import BadInput


class FileExists(BadInput):
    """A file of the maker's is in the way, and replacing it was not asked for."""


def atomic_write(path: Path, content: bytes | str, *, replace: bool) -> Path:
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
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        _write(path, data, replace=replace)
    except FileExistsError:
        raise FileExists(
            field="file", wanted="a new one", got="one that exists",
            cure="give another name, or ask to replace it", file=str(path),
        ) from None  # fmt: skip
    except OSError as error:
        raise BadInput(
            field="file", wanted="in a place that can be written", got=str(error.strerror),
            cure="choose another folder", file=str(path),
        ) from None  # fmt: skip
    return path


def _write(path: Path, data: bytes, *, replace: bool) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    if path.is_dir() or (path.exists() and not replace):
        raise FileExistsError
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".lightplan-", suffix=".tmp")
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(_mode(path))
        _take_name(temporary, path, replace=replace)
    except BaseException:  # Ctrl-C too must leave no scrap
        temporary.unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


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
