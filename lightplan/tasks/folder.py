"""Folders that results are written to: ours may be renewed, a maker's files never."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

from lightplan.errors import BadInput

MARK = "tool_version"  # every report of ours has it
JOURNAL = "journal.jsonl"  # and every batch keeps one


def prepare(folder: Path, names: Iterable[str], *, replace: bool = False) -> bool:
    """Make a folder ready for files with these names.

    Returns
    -------
    bool
        Whether files of these names may be replaced: when asked to, or when a report of
        ours lies in the folder, so that the files are from an earlier run.

    Raises
    ------
    BadInput
        When the folder cannot be made, or holds a file of such a name that is not ours.
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
    if replace or _is_ours(folder):
        return True
    for name in names:
        if (folder / name).exists():
            raise BadInput(
                field="--out",
                wanted=f"a folder without a {name} of yours",
                got=str(folder),
                cure="choose a new folder, or add --replace",
            )
    return False


def _is_ours(folder: Path) -> bool:
    if (folder / JOURNAL).exists():
        return True
    try:
        return MARK in json.loads((folder / "report.json").read_text("utf-8"))
    except (OSError, ValueError, TypeError):
        return False
