"""The shelf: presets and works with a small picture each; rig files that are brought in."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lightplan.errors import BadInput, LightplanError, RigError
from lightplan.progress import Progress, Stop, Watch
from lightplan.rigfiles import list_rigs, load_rig
from lightplan.safe_write import atomic_write
from lightplan.tasks.layout import outlines
from lightplan.tasks.predicted_jpeg import near_jpeg
from lightplan.tasks.workbench import needs_of

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

PICTURE_PX = 420


def shelf(recent: Sequence[Path]) -> list[dict[str, Any]]:
    """Return recent works and all presets, as plain values with the path of each."""
    entries = [_recent(number, path) for number, path in enumerate(recent)]
    for rig in list_rigs():
        entries.append(
            {
                "kind": "preset",
                "name": rig.name,
                "title": rig.title,
                "look": rig.look,
                "foil": rig.foil,
                "yours": not rig.shipped,
                "error": rig.error,
                "size_mm": [rig.width_mm, rig.height_mm],
                "path": rig.path,
                "key": _key(rig.path),
            }
        )
    return entries


def _recent(number: int, path: Path) -> dict[str, Any]:
    entry: dict[str, Any] = {
        "kind": "recent",
        "number": number,
        "name": path.stem,
        "title": path.stem,
        "error": "",
        "path": path,
        "key": _key(path),
        "yours": True,
        "look": "",
        "foil": "",
    }
    try:
        loaded = load_rig(path)
    except LightplanError as error:
        return entry | {"error": str(error)}
    rig = loaded.rig
    return entry | {
        "title": rig.title,
        "look": rig.look.kind,
        "foil": rig.sheet.foil.kind,
        "size_mm": [rig.sheet.width_mm, rig.sheet.height_mm],
    }


def _key(path: Path) -> str:
    """Return a mark of a file as it is now; a changed one gets another picture."""
    try:
        return f"{path}@{path.stat().st_mtime_ns}"
    except OSError:
        return str(path)


def beside(path: Path) -> dict[str, Any]:
    """Return a work as it is laid beside another: what it is, what it needs, where all stands."""
    rig = load_rig(path).rig
    return {
        "title": rig.title,
        "look": rig.look.kind,
        "size_mm": [rig.sheet.width_mm, rig.sheet.height_mm],
        "needs": list(needs_of(rig)),
        "set": outlines(rig),
    }


def shelf_work(
    wanted: Sequence[tuple[str, Path]],
    *,
    watch: Watch,
    part: Callable[[tuple[str, bytes]], None],
    stop: Stop,
) -> int:
    """Paint a small picture of each rig, and tell it with its key."""
    for done, (key, path) in enumerate(wanted):
        watch(Progress(stage="painting the shelf", done=done, of=len(wanted)))
        try:
            part((key, near_jpeg(load_rig(path).rig, PICTURE_PX)))
        except LightplanError:
            continue  # the list says what is wrong with it
    return len(wanted)


def import_rig(content: bytes, path: Path) -> None:
    """Write a rig file that was brought in, if it is one that stands alone.

    Raises
    ------
    BadInput
        When it is no rig, or names pictures that did not come with it; nothing stays then.
    """
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        raise RigError(
            field="content", wanted="text in UTF-8", got="other bytes", cure="give a rig file"
        ) from None
    atomic_write(path, text, replace=False)
    try:
        load_rig(path)
    except BadInput:
        path.unlink(missing_ok=True)
        raise
