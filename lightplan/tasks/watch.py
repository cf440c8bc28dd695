"""Watch: each new frame judged as it lands in a folder."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from pathlib import Path

from lightplan.shots.pipeline import PhotoJudge
from lightplan.shots.sets.changes import Changes as Changes
from lightplan.shots.sets.watch import Watched as Watched
from lightplan.shots.sets.watch import watch_folder
from lightplan.tasks.predict import RigLike
from lightplan.tasks.score import context_for


def watch(
    folder: Path,
    *,
    rig: RigLike,
    stop: threading.Event,
    include_present: bool = False,
) -> Iterator[Watched]:
    """Yield each new photograph of a folder, judged, with what changed since the last."""
    judge = PhotoJudge(context_for(rig))
    yield from watch_folder(folder, judge, stop=stop, include_present=include_present)
