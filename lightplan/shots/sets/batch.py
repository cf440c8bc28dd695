"""Judge many photographs, lose nothing, and go on where a stopped run ended."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightplan.process import usable_cores
from lightplan.shots.formats.reading import is_photograph
from lightplan.shots.sets.journal import Journal, Outcome
from lightplan.shots.sets.pool import WorkerPool
from lightplan.shots.sets.worker import JudgeOne, Reply, WorkerLimits

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Iterator
    from os import PathLike


def photographs_in(places: Iterable[str | PathLike[str]]) -> list[Path]:
    """Return the photographs among files and in folders, each once.

    Files are taken as given; folders are searched, not their subfolders, and their
    photographs sorted by name (IMG_2 before IMG_10).
    """
    found: dict[Path, None] = {}
    for place in map(Path, places):
        inside = place.is_dir()
        files = sorted(filter(is_photograph, place.iterdir()), key=natural) if inside else [place]
        found.update(dict.fromkeys(files))
    return list(found)


def natural(path: Path) -> list[tuple[int, int, str]]:
    """Return a key that sorts numbers in names by value.

    >>> [p.name for p in sorted(map(Path, ["b10.jpg", "b9.jpg", "a1.jpg"]), key=natural)]
    ['a1.jpg', 'b9.jpg', 'b10.jpg']
    """
    parts = re.split(r"(\d+)", path.name.lower())
    return [(0, int(p), "") if p.isdecimal() else (1, 0, p) for p in parts if p]


def score_batch(
    paths: Iterable[str | PathLike[str]],
    judge_one: JudgeOne,
    *,
    out_dir: str | PathLike[str],
    workers: int | None = None,
    timeout_s: float = 60.0,
    memory_limit: int = 3 << 30,
    resume: bool = True,
    digest: str = "",
) -> Iterator[Outcome]:
    """Yield the outcome of each photograph as it is ready, resumed ones first.

    A photograph that hangs, crashes its worker or takes too much memory becomes an
    outcome with an error, and the batch goes on. Stopping at any moment loses nothing
    that was yielded: a second run with the same folder yields those at once, unless the
    file or `digest` has changed.

    Parameters
    ----------
    paths : iterable of path
    judge_one : callable
        Gets a `Path`, returns a mapping of plain values (it goes through JSON). Must be
        picklable: a function of a module, or an instance with ``__call__``.
    out_dir : path
        Where the journal lies.
    workers : int or None
        Processes; None for one to each core.
    timeout_s : float
        For one photograph. [s]
    memory_limit : int
        Bytes one photograph may take on top of an idle worker.
    resume : bool
        False judges everything again.
    digest : str
        Of everything besides the file that the result depends on.

    Yields
    ------
    Outcome

    Raises
    ------
    BadInput
        Another run writes to `out_dir`.
    """
    limits = WorkerLimits(timeout_s=timeout_s, memory_bytes=memory_limit)
    count = usable_cores() if workers is None else max(1, workers)
    with Journal(Path(out_dir), resume=resume) as journal:
        finished, left = journal.split(map(Path, paths), digest)
        yield from finished
        if not left:
            return
        pool = WorkerPool(judge_one, workers=min(count, len(left)), limits=limits)
        with pool:
            for path, reply in _with_second_try(pool, left):
                outcome = outcome_of(path, reply)
                journal.add(left[path], outcome)
                yield outcome


def _with_second_try(pool: WorkerPool, paths: Collection[Path]) -> Iterator[tuple[Path, Reply]]:
    """Yield each photograph's answer; those the moment may have failed are tried again last.

    A machine that stood still for a minute must not cost a photograph its score, nor make
    this run differ from one that goes on tomorrow.
    """
    failed: list[Path] = []
    for path, reply in pool.run(paths, at_hand=True):
        if reply.retry:
            failed.append(path)
        else:
            yield path, reply
    yield from pool.run(failed, at_hand=True)


def outcome_of(path: Path, reply: Reply) -> Outcome:
    """Return a worker's answer as an outcome whose result is fit for JSON."""
    result, error = reply.result, reply.error
    if result is not None:
        try:
            result = plain(result)
        except (TypeError, ValueError) as fault:
            result, error = None, f"{path.name}: the result must be plain values (got {fault})."
    return Outcome(
        path=str(path), result=result, error=error, retry=reply.retry, seconds=reply.seconds
    )


def plain(result: dict[str, Any]) -> dict[str, Any]:
    """Return `result` as it will be after a round trip through JSON.

    Raises
    ------
    TypeError, ValueError
        Values JSON cannot hold; NaN and infinity are among them.
    """
    copy: dict[str, Any] = json.loads(json.dumps(result, allow_nan=False))
    return copy
