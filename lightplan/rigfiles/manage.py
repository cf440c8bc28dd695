"""What ``lightplan rigs`` does: list, show, check, save and copy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
from lightplan.rigfiles.explain import plain
from lightplan.rigfiles.load import form_of, load_rig, read_text
from lightplan.rigfiles.store import find_rig, own_path, preset_paths, shipped_folder
from lightplan.rigfiles.write import write_rig
from lightplan.safe_write import FileExists

if TYPE_CHECKING:
    import os
    from pathlib import Path

    from lightplan.rigfiles.loaded import LoadedRig


@dataclass(frozen=True, kw_only=True)
class PresetInfo:
    """One line of the list of presets.

    Parameters
    ----------
    name, title, look, foil : str
    width_mm, height_mm : float
        Of the sheet; 0 where the file is broken.
    shipped : bool
        Comes with lightplan; else it is the maker's own.
    path : Path
    error : str
        What is wrong with the file; empty when nothing is.
    """

    name: str
    path: Path
    shipped: bool
    title: str = ""
    look: str = ""
    foil: str = ""
    width_mm: float = 0.0
    height_mm: float = 0.0
    error: str = ""


def list_rigs() -> tuple[PresetInfo, ...]:
    """Return all presets by name; a broken file is listed with what is wrong with it."""
    return tuple(_info(name, path) for name, path in sorted(preset_paths().items()))


def show_rig(path_or_name: str | os.PathLike[str]) -> str:
    """Return a rig file's text, comments and all."""
    path = find_rig(path_or_name)
    try:
        return read_text(path)
    except BadInput as error:
        raise error.within(file=plain(str(path), 120)) from None


def check_rig(path_or_name: str | os.PathLike[str]) -> LoadedRig:
    """Return the rig if its file is right in everything; else raise what is wrong."""
    return load_rig(path_or_name)


def save_rig(
    path_or_name: str | os.PathLike[str], name: str, *, replace: bool = False
) -> LoadedRig:
    """Keep a rig among the maker's own presets, with its pictures.

    Raises
    ------
    FileExists
        There is a preset of that name, the maker's own or shipped, and `replace` is false.
    """
    path = own_path(name)
    if name in preset_paths() and not replace:
        raise FileExists(
            field="name",
            wanted="a new one",
            got=name,
            cure="choose another name, or add --replace to replace the preset",
        )
    return write_rig(load_rig(path_or_name), path, replace=replace)


def copy_rig(
    path_or_name: str | os.PathLike[str], path: Path, *, replace: bool = False
) -> LoadedRig:
    """Copy a rig with its pictures to a file or into a folder, to be changed there.

    Raises
    ------
    FileExists
        The file is there and `replace` is false.
    """
    loaded = load_rig(path_or_name)
    target = path / loaded.path.name if path.is_dir() else path
    return write_rig(loaded, target, replace=replace)


def _briefly(error: BadInput) -> str:
    """Return what is wrong on one line."""
    first, *more = error.faults
    return f"{first} And {len(more)} more." if more else str(first)


def _info(name: str, path: Path) -> PresetInfo:
    shipped = path.parent == shipped_folder()
    try:
        form = form_of(read_text(path))
    except BadInput as error:
        return PresetInfo(name=name, path=path, shipped=shipped, error=_briefly(error))
    return PresetInfo(
        name=name,
        path=path,
        shipped=shipped,
        title=form.title,
        look=form.look.kind,
        foil=form.sheet.foil.kind,
        width_mm=form.sheet.width_mm,
        height_mm=form.sheet.height_mm,
    )
