"""The first word on a photograph, told before anything heavy is loaded."""

from __future__ import annotations

import threading
from importlib import import_module
from typing import TYPE_CHECKING

from lightplan.errors import LightplanError
from lightplan.shots.formats.reading import read_shot

if TYPE_CHECKING:
    from pathlib import Path

    from lightplan.shots.shot import ShotSettings

GLANCE_PX = 300


def glance(photo: Path) -> str:
    """Return in one line what a photograph is and how it was exposed.

    What is wrong with a file is told by whoever reads it in full.
    """
    try:
        shot = read_shot(photo, long_side_px=GLANCE_PX)
    except LightplanError:
        return f"reading {photo.name}"
    size = f"{shot.file_cols} x {shot.file_rows} pixels"
    return ", ".join([f"{photo.name}: {size}", *_exposed(shot.settings)])


def taken_at(photo: Path) -> str:
    """Return when a photograph was taken, as its file has it; empty where it does not tell."""
    try:
        taken = read_shot(photo, long_side_px=GLANCE_PX).settings.taken
    except LightplanError:
        return ""
    return "" if taken is None else taken


def _exposed(settings: ShotSettings) -> list[str]:
    told = []
    if settings.time_s is not None and settings.time_s > 0:
        long = settings.time_s >= 0.3
        told.append(f"{settings.time_s:.2g} s" if long else f"1/{1 / settings.time_s:.0f} s")
    if settings.f_number is not None:
        told.append(f"f/{settings.f_number:g}")
    if settings.iso is not None:
        told.append(f"ISO {settings.iso:.0f}")
    return told


def load_ahead(*modules: str) -> None:
    """Load modules on another core while the first word is found."""
    threading.Thread(target=_load, args=(modules,), daemon=True).start()


def _load(modules: tuple[str, ...]) -> None:
    for name in modules:
        import_module(name)
