"""Places that results are written to: ours may be renewed, a maker's files never."""

from __future__ import annotations

import contextlib
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
from lightplan.manifest import FileChanged, check_free, remove_output
from lightplan.safe_write import FileExists, sweep

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

PASSING = ("best_so_far.png",)
"""Results that are only there while a command works; a killed one leaves them behind."""
INNER = ("thumbnails", "artwork")


def prepare(
    folder: Path, names: Iterable[str], *, replace: bool = False, inputs: Sequence[Path] = ()
) -> None:
    """Make a folder ready for files with these names, before any work is done for them.

    Parameters
    ----------
    folder : Path
        Made if need be; what a killed run left half-written is taken away.
    names : iterable of str
    replace : bool
        Whether files of the maker's may be replaced.
    inputs : sequence of Path
        What the results are made from: never replaced, whatever was asked.

    Raises
    ------
    BadInput
        When the folder cannot be made, or holds a file of such a name that is an input, or
        not ours, or not any more as we wrote it.
    """
    if folder.exists() and not folder.is_dir():
        raise BadInput(
            field="--out", wanted="a folder", got=str(folder), cure="name a folder, or a new one"
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(
            field="--out",
            wanted="a folder that can be made",
            got=f"{folder}: {error.strerror}",
            cure="choose another folder",
        ) from None
    for place in (folder, *(folder / name for name in INNER)):
        if place.is_dir():
            sweep(place)
    for name in PASSING:
        remove_output(folder / name)
    for name in names:
        _check(folder / name, folder, replace=replace, inputs=inputs)


def prepare_files(
    paths: Iterable[Path | None], *, replace: bool = False, inputs: Sequence[Path] = ()
) -> None:
    """Refuse single files that cannot be written, before any work is done for them.

    Raises
    ------
    BadInput
        As `prepare`, or the same file is asked for twice.
    """
    seen: set[Path] = set()
    for path in paths:
        if path is None:
            continue
        place = path.parent.absolute() / path.name
        if place in seen:
            raise BadInput(
                field="file",
                wanted="named once",
                got="two results of one name",
                cure="give each its own name",
                file=str(path),
            )
        seen.add(place)
        refuse_input(path, inputs)
        check_free(path, replace=replace)


def refuse_input(path: Path, inputs: Sequence[Path]) -> None:
    """Refuse to write a result over what it is made from, by whatever name.

    Raises
    ------
    BadInput
        The path is one of the inputs.
    """
    for given in inputs:
        with contextlib.suppress(OSError):
            if path.samefile(given):
                raise BadInput(
                    field="file",
                    wanted="another than those it is made from",
                    got="the input itself",
                    cure="choose another folder or name",
                    file=str(path),
                )


def _check(path: Path, folder: Path, *, replace: bool, inputs: Sequence[Path]) -> None:
    refuse_input(path, inputs)
    try:
        check_free(path, replace=replace)
    except FileExists as error:
        changed = "that you changed" if isinstance(error, FileChanged) else "of yours"
        raise FileExists(
            field="--out",
            wanted=f"a folder without a {path.name} {changed}",
            got=str(folder),
            cure="choose a new folder, or add --replace",
        ) from None
