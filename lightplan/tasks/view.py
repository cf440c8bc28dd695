"""View: the set in 3-D."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightplan.compiled import remember_use
from lightplan.light import Detail, layers_of
from lightplan.reports.view3d import show_window, write_view_png
from lightplan.reports.view_html import write_view_html
from lightplan.rigfiles import LoadedRig, load_rig
from lightplan.scene import Rig
from lightplan.tasks.first_light import begin_light
from lightplan.tasks.folder import prepare_files
from lightplan.tasks.predict import Progress, RigLike, _quiet, as_rig

if TYPE_CHECKING:
    from pathlib import Path


def view(
    rig: RigLike,
    *,
    png: Path | None = None,
    html: Path | None = None,
    replace: bool = False,
    progress: Progress = _quiet,
) -> tuple[Path, ...]:
    """Show the set in a window, or write it as a picture or an offline page.

    Raises
    ------
    MissingFeature
        Where this machine has no screen, or nothing to draw 3-D with.
    """
    loaded = rig if isinstance(rig, Rig | LoadedRig) else load_rig(rig)
    inputs = loaded.inputs if isinstance(loaded, LoadedRig) else ()
    prepare_files([png, html], replace=replace, inputs=inputs)
    found = as_rig(loaded)
    begin_light(progress)
    layers = layers_of(found, Detail.quick())
    remember_use()
    progress("drawing")
    if png is None and html is None:
        show_window(found, layers)
        return ()
    files = []
    if png is not None:
        files.append(write_view_png(png, found, layers, replace=replace))
    if html is not None:
        files.append(write_view_html(html, found, layers, replace=replace))
    return tuple(files)
