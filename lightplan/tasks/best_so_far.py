"""The best picture so far, for who waits for a plan."""

from __future__ import annotations

import contextlib
import time
from typing import TYPE_CHECKING, Self

from lightplan.light import Detail, layers_of
from lightplan.light.exposure import camera_picture
from lightplan.manifest import remove_output, write_output
from lightplan.reports.picture import picture_png, picture_size
from lightplan.tasks.folder import prepare
from lightplan.tasks.plan import PLAN_FILES

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightplan.planning.effort import SearchProgress

NAME = "best_so_far.png"
LONG_SIDE = 480
MOST_SHARE = 0.05
"""Of the time that has gone by, at most this much is spent on pictures."""


class BestSoFar:
    """Writes the picture of the best rig so far into a folder, and takes it away at the end.

    Parameters
    ----------
    folder : Path
        Made ready for all files of a plan, so that nobody waits for a plan that cannot be
        written; taken away again if it stays empty.
    replace_files : bool
        Whether files of a maker may be replaced there.
    inputs : sequence of Path
        What the plan is made from, never replaced.

    Raises
    ------
    BadInput
        When the folder cannot be made, or holds a maker's file of such a name.
    """

    def __init__(
        self, folder: Path, *, replace_files: bool = False, inputs: Sequence[Path] = ()
    ) -> None:
        self._is_new = not folder.exists()
        prepare(folder, (NAME, *PLAN_FILES), replace=replace_files, inputs=inputs)
        self._may = replace_files
        self.path = folder / NAME
        self._began = time.monotonic()
        self._spent = 0.0
        self._wrote = False

    def show(self, found: SearchProgress) -> bool:
        """Write the picture of a rig, unless that would take too much time from the search."""
        begun = time.monotonic()
        if self._spent > MOST_SHARE * (begun - self._began):
            return False
        rows, cols = picture_size(found.rig.camera, LONG_SIDE)
        layers = layers_of(found.rig, Detail.quick(camera_rows=rows, camera_cols=cols))
        picture = picture_png(camera_picture(found.rig, layers))
        self._wrote = True  # before it is: who is stopped in between must take it away too
        write_output(self.path, picture, replace=self._may)
        self._spent += time.monotonic() - begun
        return True

    def __enter__(self) -> Self:
        """Return this."""
        return self

    def __exit__(self, *_: object) -> None:
        """Take the picture away; the plan's own files are there, or there is no plan."""
        if self._wrote:
            remove_output(self.path)
        with contextlib.suppress(OSError):
            if self._is_new:
                self.path.parent.rmdir()  # refuses where anything was written
