"""The same batch on a Dask scheduler that exists already (optional extra ``cluster``)."""

from __future__ import annotations

import ipaddress
import socket
from functools import partial
from importlib import import_module
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import cv2

from lightplan.errors import BadInput, MissingFeature
from lightplan.shots.sets.batch import outcome_of
from lightplan.shots.sets.journal import Journal, Outcome
from lightplan.shots.sets.worker import JudgeOne, Reply, WorkerLimits, answer, set_alarm

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator
    from os import PathLike

# Photographs handed out ahead for each thread of the cluster: it never waits for us, and a
# batch of 10,000 does not fill the scheduler's memory.
_AHEAD = 4
CONNECT_S = 10.0


def score_on_cluster(
    address: str,
    paths: Iterable[str | PathLike[str]],
    judge_one: JudgeOne,
    *,
    out_dir: str | PathLike[str],
    timeout_s: float = 60.0,
    resume: bool = True,
    digest: str = "",
    outside: bool = False,
) -> Iterator[Outcome]:
    """Yield the outcome of each photograph, judged by the workers of a scheduler.

    The workers must see the photographs under the same paths and have this package. The
    journal stays here, so a batch may be begun on one machine and ended on a cluster. A
    photograph that hangs ends its worker process by an alarm, where workers have one
    thread each and Dask's nanny starts them anew; memory is watched by the nanny.

    Parameters
    ----------
    address : str
        Of the scheduler: "tcp://press-room:8786".
    paths, judge_one, out_dir, timeout_s, resume, digest
        As in `score_batch`.
    outside : bool
        Whether an address in a public network may be used, see `refuse_outside`.

    Raises
    ------
    MissingFeature
        The extra is not installed, or the scheduler does not answer.
    """
    with Journal(Path(out_dir), resume=resume) as journal:
        finished, left = journal.split(map(Path, paths), digest)
        yield from finished
        if not left:
            return
        if not outside:
            refuse_outside(address)
        with _connect(address) as client:
            for path, reply in _run(client, left, judge_one, WorkerLimits(timeout_s=timeout_s)):
                outcome = outcome_of(path, reply)
                journal.add(left[path], outcome)
                yield outcome


def _connect(address: str) -> Any:
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        raise MissingFeature(
            "Scoring on a cluster needs the package distributed; install lightplan[cluster]."
        ) from None
    try:
        return distributed.Client(address, timeout=CONNECT_S)
    except (OSError, ValueError) as error:
        raise MissingFeature(
            f"The scheduler at {address} must answer (got {type(error).__name__}); start it or "
            "check the address."
        ) from None


def _run(
    client: Any, paths: Iterable[Path], judge_one: JudgeOne, limits: WorkerLimits
) -> Iterator[tuple[Path, Reply]]:
    """Keep the cluster's threads busy and yield answers as they come.

    A worker that dies takes along what was queued there. All of that is tried once more,
    one at a time, so that only the photograph that killed it is blamed.
    """
    distributed: Any = import_module("distributed")
    threads = sum(client.nthreads().values())
    waiting = iter(paths)
    task = partial(judge_in_task, judge_one, limits)

    def submit(count: int) -> list[Any]:
        return [_submit(client, task, path, taken) for path in islice(waiting, count)]

    taken: dict[str, Path] = {}
    suspects: list[Path] = []
    running = distributed.as_completed(submit(_AHEAD * max(1, threads)))
    for future in running:
        path = taken.pop(future.key)
        reply = _finished(future)
        if reply is not None:
            yield path, reply
        else:
            suspects.append(path)
        future.release()
        for fresh in submit(1):
            running.add(fresh)
    for path in suspects:
        future = _submit(client, task, path, taken)
        distributed.wait(future)
        yield path, _reply(future, path)


def _submit(client: Any, task: Any, path: Path, taken: dict[str, Path]) -> Any:
    future = client.submit(task, path, pure=False)
    taken[future.key] = path
    return future


def _reply(future: Any, path: Path) -> Reply:
    reply = _finished(future)
    if reply is not None:
        return reply
    sentence = (
        f"{path.name}: judging must end by itself (got workers of the cluster that died over it);"
        " export the photograph again, smaller."
    )
    return Reply(error=sentence, retry=True)


def _finished(future: Any) -> Reply | None:
    """Return the answer; None where a worker died over it, be it after it had finished.

    An answer lies with its worker until it is fetched. When that dies in between, the
    scheduler has the photograph judged anew, and gives up when others die of it too.
    """
    if future.status != "finished":
        return None
    try:
        reply: Reply = future.result()
    except Exception:  # noqa: BLE001 - KilledWorker, CancelledError of an optional package
        return None
    return reply


def refuse_outside(address: str) -> None:
    """Refuse a scheduler that does not lie in a network of this machine's own kind.

    Work is sent to it as pickles, and it asks no password: whoever answers there runs
    programs on the workers, and sends answers that are unpacked here.

    Raises
    ------
    BadInput
        The address is none, or lies in a public network.
    """
    host = urlsplit(address if "://" in address else f"tcp://{address}").hostname
    try:
        found = socket.getaddrinfo(host, None)
    except (OSError, UnicodeError):
        return  # nobody answers there, and that is told
    for *_, place in found:
        where = ipaddress.ip_address(str(place[0]).partition("%")[0])
        if where.is_global:
            raise BadInput(
                field="--cluster",
                wanted="an address in a network of your own",
                got=f"{address}, which is {where}",
                cure="name a scheduler behind your own router, or add --cluster-outside",
            )


def judge_in_task(judge_one: JudgeOne, limits: WorkerLimits, path: Path) -> Reply:
    """Judge one photograph inside a worker of the cluster."""
    distributed: Any = import_module("distributed")
    cv2.setNumThreads(1)  # the other cores belong to the other tasks
    alone = (
        distributed.get_worker().state.nthreads == 1
    )  # the alarm is the process's, not the thread's
    if alone:
        set_alarm(limits.timeout_s)
    try:
        return answer(judge_one, path, limits)
    finally:
        if alone:
            set_alarm(0.0)
