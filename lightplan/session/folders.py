"""Where the maker's work lies when no place was named: folders of the program's own data."""

from __future__ import annotations

import contextlib
import json
import time
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.errors import BadInput, RigError
from lightplan.rigfiles import copy_rig
from lightplan.rigfiles.store import find_rig, own_folder, preset_paths, shipped_folder
from lightplan.safe_write import FileExists, Scratch, atomic_write
from lightplan.shots.formats.whereabouts import without_place

if TYPE_CHECKING:
    import os
    from collections.abc import Iterator

MOST_RECENT = 12


def home() -> Path:
    """Return the program's own data folder; it need not exist yet."""
    return own_folder().parent


def page_key_file(port: int) -> Path:
    """Return where the key of a page on a port is kept."""
    return home() / "page" / f"key-{port}"


def works() -> Path:
    """Return the folder of works that were begun from a preset or from questions."""
    return home() / "works"


def rig_in(place: str | os.PathLike[str]) -> Path:
    """Return the rig file that a path, a shoot folder or the name of a preset stands for.

    A shipped preset is copied among the maker's works, once; the copy is what gets changed.

    Raises
    ------
    BadInput
        When there is no such thing.
    """
    path = Path(place)
    with contextlib.suppress(OSError):
        if path.is_dir():
            return _rig_of_folder(path)
    found = find_rig(place)
    if found.resolve().parent != shipped_folder().resolve():
        return found
    copy = works() / found.name
    if not copy.exists():
        copy_rig(found, copy)
    return copy


def _rig_of_folder(folder: Path) -> Path:
    """Return the rig file of a shoot folder: rig.toml, or the only one."""
    rigs = sorted(folder.glob("*.toml"))
    for rig in rigs:
        if rig.name == "rig.toml" or len(rigs) == 1:
            return rig
    raise RigError(
        field="folder",
        wanted="one with a rig.toml in it",
        got=f"{len(rigs)} rig files",
        cure="name the rig file itself, or copy it there as rig.toml",
        file=str(folder),
    )


def presets() -> set[str]:
    """Return the names of all presets."""
    return set(preset_paths())


def keep_photograph(folder: Path, name: str, content: bytes) -> Path:
    """Put a photograph into a folder under its own name, numbered where another has that name.

    One that is there already, byte for byte, is not put there twice. Where it was taken is
    blanked in what is kept here; the maker's own file stays as it is.
    """
    content = without_place(content)
    path, number = folder / name, 2
    while True:
        try:
            return atomic_write(path, content, replace=False)
        except FileExists:  # perhaps put there just now, by another drop
            if path.is_file() and path.read_bytes() == content:
                return path
        path = folder / f"{Path(name).stem}-{number}{Path(name).suffix}"
        number += 1


@contextlib.contextmanager
def for_a_moment(content: bytes, suffix: str) -> Iterator[Path]:
    """Have bytes as a file on the disk, which is gone afterwards, or after the next start."""
    with contextlib.closing(Scratch()) as scratch:
        path = scratch.path / f"dropped{suffix}"
        path.write_bytes(content)
        yield path


def clear_up() -> None:
    """Take away what a process that was killed had on the disk for a moment."""
    Scratch.sweep()


def new_work(name: str) -> Path:
    """Return a file for a new work, named after its title, that is not there yet."""
    plain = "".join(c if c.isalnum() else "-" for c in name.lower())
    stem = "-".join(part for part in plain.split("-") if part)[:48]
    stem = stem if stem else "work"
    number, path = 2, works() / f"{stem}.toml"
    while path.exists():
        path, number = works() / f"{stem}-{number}.toml", number + 1
    return path


def recent() -> list[Path]:
    """Return the rig files that were open last, the latest first, as far as they are there."""
    with contextlib.suppress(OSError, ValueError, TypeError):
        kept = json.loads(_recent_file().read_text("utf-8"))
        return [Path(entry["path"]) for entry in kept if Path(entry["path"]).is_file()]
    return []


def remember(path: Path) -> None:
    """Put a rig file first among those that were open."""
    others = [one for one in recent() if one != path.resolve()]
    kept = [path.resolve(), *others][:MOST_RECENT]
    text = json.dumps([{"path": str(one), "at": round(time.time())} for one in kept], indent=1)
    with contextlib.suppress(BadInput):  # what cannot be noted is no reason to stop
        atomic_write(_recent_file(), text, replace=True)


def _recent_file() -> Path:
    return home() / "recent.json"
