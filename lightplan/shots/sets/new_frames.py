"""Judge each new frame of a folder as it lands."""

from __future__ import annotations

import stat
import time
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from lightplan.errors import BadInput
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

# A file counts as whole when size and time have stood still this long. [s]
SETTLED_S = 0.3
_LOOK_MS = 100
_STILL_S = 10.0  # after which a file without its end mark counts as whole: some have tails


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


@dataclass
class _Pending:
    """A file that may still be growing."""

    state: tuple[int, int]
    since: float
    first: float


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
    seen = {path: _state(path) for path in present}
    if include_present:
        yield from present
    pending: dict[Path, _Pending] = {}
    changes = _changed(folder, stop)
    if on_ready is not None:
        on_ready()
    # What landed between the listing above and the first look of the watcher.
    names = {p for p in folder.iterdir() if is_photograph(p)} - set(seen)
    for batch in changes:
        names |= {path for path in batch if is_photograph(path)}
        now = time.monotonic()
        for path in names:
            pending.setdefault(path, _Pending((-1, -1), now, now))
        names = set()
        for path in _settled(pending, now):
            if _state(path) not in (None, seen.get(path)):
                seen[path] = _state(path)
                yield path


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


def _settled(pending: dict[Path, _Pending], now: float) -> list[Path]:
    """Return and remove the files that have stopped changing."""
    done = []
    for path, one in list(pending.items()):
        state = _state(path)
        if state is None:  # removed or renamed before it was whole
            del pending[path]
        elif state != one.state:
            one.state, one.since = state, now
        elif now - one.since >= SETTLED_S and (_is_whole(path) or now - one.since > _STILL_S):
            done.append(path)
            del pending[path]
    return sorted(done, key=_written_at)


# How files of these kinds end: the JPEG marker EOI, the chunk IEND of PNG with its checksum.
_ENDS = {".jpg": b"\xff\xd9", ".jpeg": b"\xff\xd9", ".png": b"IEND\xaeB`\x82"}
_TAIL = 4096  # cameras and phones may pad a file after its end


def _is_whole(path: Path) -> bool:
    """Whether a file has its end; of kinds that have no mark there, whether it holds anything.

    A slow copy may stand still for a second: without this it would be judged half-copied.
    """
    end = _ENDS.get(path.suffix.lower())
    try:
        with path.open("rb") as file:
            size = file.seek(0, 2)
            if end is None:
                return size > 0
            file.seek(max(0, size - _TAIL))
            return end in file.read()
    except OSError:
        return False


def _written_at(path: Path) -> int:
    state = _state(path)
    return 0 if state is None else state[1]


def _state(path: Path) -> tuple[int, int] | None:
    try:
        about = path.stat()
    except OSError:  # gone, or a link that leads nowhere
        return None
    return (about.st_size, about.st_mtime_ns) if stat.S_ISREG(about.st_mode) else None
