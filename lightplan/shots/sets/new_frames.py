"""Judge each new frame of a folder as it lands."""

from __future__ import annotations

import time
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
from lightplan.landing import Landing
from lightplan.shots.formats.reading import is_photograph
from lightplan.shots.results import PhotoScore
from lightplan.shots.sets.batch import natural, outcome_of
from lightplan.shots.sets.changes import Changes, changes_between
from lightplan.shots.sets.pool import WorkerPool
from lightplan.shots.sets.worker import JudgeOne, WorkerLimits

if TYPE_CHECKING:
    import threading
    from collections.abc import Callable, Iterator
    from os import PathLike

_LOOK_MS = 100


@dataclass(frozen=True)
class Watched:
    """A new frame and what changed since the one before.

    Parameters
    ----------
    photo : PhotoScore
    changes : Changes or None
        None for the first frame.
    delay_s : float
        From the last change of the file to its score. [s]
    """

    photo: PhotoScore
    changes: Changes | None
    delay_s: float


def watch_folder(
    folder: str | PathLike[str],
    judge_one: JudgeOne,
    *,
    stop: threading.Event,
    timeout_s: float = 60.0,
    memory_limit: int = 3 << 30,
    include_present: bool = False,
    on_ready: Callable[[], None] | None = None,
) -> Iterator[Watched]:
    """Yield each photograph that lands in a folder, judged, until `stop` is set.

    Parameters
    ----------
    folder : path
        Its subfolders are not watched.
    judge_one : callable
        Returns `PhotoScore.to_dict()`; runs in a worker process that is kept warm and
        replaced when a photograph breaks it.
    stop : Event
        Ends the watching within a fraction of a second.
    timeout_s, memory_limit
        For one photograph.
    include_present : bool
        True: judge first what lies there already.
    on_ready : callable or None
        Called once, when new files are being noticed.

    Raises
    ------
    BadInput
        The folder is not there.
    """
    where = Path(folder)
    if not where.is_dir():
        raise BadInput(
            field="the folder to watch",
            wanted="a folder",
            got=where.name,
            cure="make it, or check the name",
        )
    limits = WorkerLimits(timeout_s=timeout_s, memory_bytes=memory_limit)
    before: PhotoScore | None = None
    landed: dict[Path, float] = {}
    files = new_files(where, stop=stop, include_present=include_present, on_ready=on_ready)
    with WorkerPool(judge_one, workers=1, limits=limits) as pool:
        pool.warm_up()
        for path, reply in pool.run(_noting(files, landed)):
            photo = score_of(path, outcome_of(path, reply).result, reply.error, reply.seconds)
            changes = changes_between(before, photo) if before is not None else None
            yield Watched(photo, changes, max(0.0, time.time() - landed.pop(path)))
            before = photo


def score_of(
    path: Path, result: dict[str, object] | None, error: str | None, seconds: float
) -> PhotoScore:
    """Return a worker's plain answer as a typed result."""
    if result is None:
        sentence = error if error is not None else f"{path.name}: there is no result."
        return PhotoScore.refused(path, sentence, seconds=seconds)
    return PhotoScore.from_dict(result)


def _noting(files: Iterator[Path], landed: dict[Path, float]) -> Iterator[Path]:
    for path in files:
        try:
            landed[path] = path.stat().st_mtime
        except OSError:  # gone again
            continue
        yield path


def new_files(
    folder: Path,
    *,
    stop: threading.Event,
    include_present: bool = False,
    on_ready: Callable[[], None] | None = None,
) -> Iterator[Path]:
    """Yield photographs once they are whole: new ones, and those written again."""
    import_module("watchfiles")  # a compiled part that only this command needs: before we begin

    present = sorted((p for p in folder.iterdir() if is_photograph(p)), key=natural)
    landing = Landing()
    landing.take(present)
    if include_present:
        yield from present
    changes = _changed(folder, stop)
    if on_ready is not None:
        on_ready()
    # What landed between the listing above and the first look of the watcher.
    names = {p for p in folder.iterdir() if is_photograph(p)} - set(present)
    for batch in changes:
        names |= {path for path in batch if is_photograph(path)}
        now = time.monotonic()
        landing.notice(names, now=now)
        names = set()
        yield from landing.landed(now=now)


def _changed(folder: Path, stop: threading.Event) -> Iterator[set[Path]]:
    """Yield what may have changed, again and again; nothing when time has passed."""
    from watchfiles import watch

    while not stop.is_set():
        try:
            for batch in watch(
                folder,
                stop_event=stop,
                recursive=False,
                debounce=_LOOK_MS,
                step=_LOOK_MS // 2,
                rust_timeout=_LOOK_MS,
                yield_on_timeout=True,
                raise_interrupt=True,
            ):
                yield {Path(name) for _, name in batch}
        except RuntimeError:  # its word for a name that is not UTF-8: so look at every file
            yield set(folder.iterdir())
