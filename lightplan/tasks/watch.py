"""Watch: each new frame advised on as it lands in a folder, in one line and one move."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightplan.shots.sets.changes import Changes as Changes
from lightplan.shots.sets.new_frames import Watched as Watched
from lightplan.shots.sets.new_frames import watch_folder
from lightplan.tasks.advise import advise_on
from lightplan.tasks.photographed import look_at_set
from lightplan.tasks.predict import RigLike, as_rig
from lightplan.tasks.remembering import (
    MEMORY_FILE,
    memory_path,
    read_memory,
    with_frame,
    write_memory,
)

if TYPE_CHECKING:
    import threading
    from collections.abc import Iterator

    from lightplan.scene import Rig


@dataclass(frozen=True, eq=False)
class FrameAdvisor:
    """Advises on photographs of a rig; the function that a worker process runs."""

    rig: Rig
    memory: Path
    """File with what earlier frames asked for: workers come and go, the shoot stays."""

    def __call__(self, path: Path) -> dict[str, Any]:
        """Return the verdict as plain values, the advice among its details."""
        looked, known = look_at_set(path, self.rig), read_memory(self.memory)
        advice = advise_on(looked, self.rig, memory=known)
        write_memory(self.memory, with_frame(known, advice))
        told = advice.photo.to_dict()
        report = advice.report()
        kept = ("sentence", "first_move", "slips", "as_planned", "foreign", "cannot_tell")
        told["details"] = {**told["details"], "advice": {name: report[name] for name in kept}}
        return told


def watch(
    folder: Path, *, rig: RigLike, stop: threading.Event, include_present: bool = False
) -> Iterator[Watched]:
    """Yield each new photograph of a folder with its advice, and what changed since the last.

    A file that is still being copied is waited for: it is judged once it is whole. What a frame
    asked for, or one that the folder's ledger knows, is the plan of the next.
    """
    planned = as_rig(rig)
    with tempfile.TemporaryDirectory(prefix="lightplan-") as place:
        memory = write_memory(Path(place) / MEMORY_FILE, read_memory(memory_path(folder)))
        advisor = FrameAdvisor(planned, memory)
        yield from watch_folder(folder, advisor, stop=stop, include_present=include_present)


def sentence_of(found: Watched) -> str:
    """Return what is told of a frame, in one line."""
    advice = found.photo.details.get("advice")
    if advice is not None:
        return str(advice["sentence"])
    reason = (
        found.photo.error if found.photo.error is not None else "".join(found.photo.reasons[:1])
    )
    return f"{found.photo.file}: {reason}"
