"""Where presets are: those that come with lightplan, and the maker's own."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from lightplan.errors import RigError
from lightplan.rigfiles.explain import nearest, plain

HOME_VARIABLE = "LIGHTPLAN_HOME"
_PACKAGE = Path(__file__).resolve().parents[1]


def shipped_folder() -> Path:
    """Return the folder of the presets that come with lightplan.

    A wheel carries them in the package; an editable install finds them in the checkout.
    """
    inside = _PACKAGE / "rigs"
    return inside if inside.is_dir() else _PACKAGE.parent / "rigs"


def own_folder() -> Path:
    """Return the folder of the maker's own presets; it need not exist yet."""
    home = os.environ.get(HOME_VARIABLE)
    if home:
        return Path(home) / "rigs"
    import platformdirs

    return platformdirs.user_data_path("lightplan", appauthor=False) / "rigs"


def preset_paths() -> dict[str, Path]:
    """Return name -> file of all presets; the maker's own hides a shipped one of its name."""
    paths: dict[str, Path] = {}
    for folder in (shipped_folder(), own_folder()):
        if folder.is_dir():
            paths.update({path.stem: path for path in sorted(folder.glob("*.toml"))})
    return paths


def find_rig(path_or_name: str | os.PathLike[str]) -> Path:
    """Return the file of a rig, given its path or the name of a preset.

    Raises
    ------
    RigError
        Neither such a file nor such a preset; the nearest name is offered.
    """
    path = Path(path_or_name)
    with contextlib.suppress(OSError, ValueError):  # no file can have such a name
        if path.is_file():
            return path
    paths = preset_paths()
    name = str(path_or_name)
    if name in paths:
        return paths[name]
    near = nearest(path.stem, list(paths))
    hint = f"did you mean {near}" if near else "see the names with lightplan rigs list"
    if path.suffix == ".toml" or path.parent != Path():
        raise RigError(field="RIG", wanted="a rig file that exists", got=plain(name), cure=hint)
    raise RigError(field="RIG", wanted="a path or the name of a preset", got=plain(name), cure=hint)


def own_path(name: str) -> Path:
    """Return where the maker's own preset of this name is kept.

    Raises
    ------
    RigError
        The name would not make a file name everywhere.
    """
    allowed = set(" _-+.")
    fine = name and len(name) <= 80 and all(c.isalnum() or c in allowed for c in name)
    if not (fine and name[0].isalnum() and name[-1].isalnum() and not name.endswith(".toml")):
        raise RigError(
            field="name",
            wanted="letters, digits, blanks and hyphens, at most 80",
            got=plain(name),
            cure="choose a name such as my-gold-card",
        )
    return own_folder() / f"{name}.toml"
