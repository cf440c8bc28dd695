"""What lightplan wrote into a folder: only that may be renewed, and only while it is unchanged.

Each folder of results holds a hidden list of the files in it with the fingerprints of what
was written. A fingerprint is listed before its file takes its name, so after a kill at any
moment every file of ours is known as ours, and the next run goes on. A file that the maker
made or edited has another fingerprint and is left alone.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from typing import TYPE_CHECKING

from lightplan.safe_write import FileExists, as_bytes, locked, put, sweep, told_as_bad_input

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping
    from pathlib import Path

NAME = ".lightplan.json"
_FORMAT = 1


class FileChanged(FileExists):
    """A result of ours that the maker has changed is in the way, and must not be lost."""


def write_output(path: Path, content: bytes | str, *, replace: bool) -> Path:
    """Write a result, whole or not at all, over nothing but a result that is unchanged.

    Parameters
    ----------
    path : Path
    content : bytes or str
        Text is written as UTF-8 with the line ends it has.
    replace : bool
        Whether a maker's file, or a result that a maker has changed, may be replaced too.

    Raises
    ------
    FileExists
        Such a file is there and `replace` is false; it is left as it was.
    BadInput
        The folder or file cannot be written.
    """
    data = as_bytes(content)
    with told_as_bad_input(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        sweep(path.parent)
        with locked(path.parent):
            listed, present = _where_free(path, replace=replace)
            # Until the file has its name, what is there and what will be are both ours.
            told = dict.fromkeys([hashlib.sha256(data).hexdigest()])
            if present in listed.get(path.name, ()):
                told[str(present)] = None
            _list(path.parent, {**listed, path.name: tuple(told)})
            put(path, data, replace=present is not None)
    return path


def check_free(path: Path, *, replace: bool) -> None:
    """Refuse a place where `write_output` would not write.

    Raises
    ------
    FileExists
        A maker's file, or a result that a maker has changed, is there and may not be replaced.
    """
    with told_as_bad_input(path):
        if path.is_dir():
            raise FileExistsError
        _where_free(path, replace=replace)


def remove_output(path: Path) -> None:
    """Take away a result, and the list when nothing else is on it; a changed one stays."""
    with contextlib.suppress(OSError), locked(path.parent):
        listed = dict(_read(path.parent))
        if _digest(path) in listed.get(path.name, ()):
            path.unlink()
        if listed.pop(path.name, None) is None:
            return
        if listed:
            _list(path.parent, listed)
        else:
            (path.parent / NAME).unlink()


def _where_free(path: Path, *, replace: bool) -> tuple[Mapping[str, tuple[str, ...]], str | None]:
    """Return the list of a folder and the fingerprint of a file that may be written there."""
    listed, present = _read(path.parent), _digest(path)
    if present is None or replace or present in listed.get(path.name, ()):
        return listed, present
    kind, got = FileExists, "one of yours"
    if path.name in listed:
        kind, got = FileChanged, "one that was changed since"
    raise kind(
        field="file",
        wanted="a new one, or as lightplan left it",
        got=got,
        cure="choose another place, or add --replace",
        file=str(path),
    )


def _digest(path: Path) -> str | None:
    """Return the fingerprint of a file; None where nothing is there, "" for what is no file."""
    if not path.exists() and not path.is_symlink():
        return None
    if not path.is_file():
        return ""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _read(folder: Path) -> Mapping[str, tuple[str, ...]]:
    """Return the list of a folder; a broken one lists nothing, so nothing is renewed."""
    try:
        document = json.loads((folder / NAME).read_bytes())
        return {str(n): tuple(map(str, d)) for n, d in document["files"].items()}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return {}


def _list(folder: Path, files: Mapping[str, Iterable[str]]) -> None:
    document = {"format": _FORMAT, "files": {n: list(d) for n, d in sorted(files.items())}}
    put(folder / NAME, as_bytes(json.dumps(document, indent=1) + "\n"), replace=True)
