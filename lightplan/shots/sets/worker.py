"""What runs in a worker process: one photograph after another, inside limits."""

from __future__ import annotations

import pickle
import signal
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

import cv2

from lightplan.errors import LightplanError
from lightplan.process import keep_memory, limit_memory

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

JudgeOne: TypeAlias = Callable[[Path], Mapping[str, Any]]
# The parent kills a late worker first; this guards workers whose parent is gone.
_ORPHAN_GRACE_S = 5.0
# Of freed memory a worker keeps so much for its next photograph: enough for the arrays of
# 50 megapixels; what a giant took beyond goes back to the system with the next photograph.
_KEPT_BYTES = 256 << 20


@dataclass(frozen=True, kw_only=True)
class WorkerLimits:
    """What one photograph may take.

    Parameters
    ----------
    timeout_s : float
        Time from being handed out to its answer. [s]
    memory_bytes : int
        Memory on top of what the idle worker has. Kept where the system offers
        address-space limits (Linux, most Unixes).
    """

    timeout_s: float = 60.0
    memory_bytes: int = 3 << 30


@dataclass(frozen=True, kw_only=True)
class Reply:
    """A worker's answer to one photograph.

    Parameters
    ----------
    result : dict or None
        What the judging function returned.
    error : str or None
        One sentence, where it returned nothing.
    retry : bool
        True where the failure may be the moment's and not the photograph's.
    seconds : float
        Time it took. [s]
    exhausted : bool
        True where memory ran out: the worker should be replaced.
    """

    result: dict[str, Any] | None = None
    error: str | None = None
    retry: bool = False
    seconds: float = 0.0
    exhausted: bool = False


def serve_from(pipe: Connection, judge_file: str, limits: WorkerLimits) -> None:
    """Do as `serve`, with the judging function from a pickle that the pool wrote."""
    with Path(judge_file).open("rb") as file:
        judge_one = pickle.load(file)
    serve(pipe, judge_one, limits)


def serve(pipe: Connection, judge_one: JudgeOne, limits: WorkerLimits) -> None:
    """Answer paths that come down the pipe until it closes.

    Parameters
    ----------
    pipe : Connection
        Paths come in, `Reply` goes out; the first thing sent is None, for "ready".
    judge_one : callable
        Gets the path, returns plain values for JSON.
    limits : WorkerLimits
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what Ctrl-C means
    cv2.setNumThreads(1)  # the other cores belong to the other workers
    limit_memory(limits.memory_bytes)
    keep_memory(_KEPT_BYTES)
    try:
        pipe.send(None)
        while True:
            path = pipe.recv()
            set_alarm(limits.timeout_s + _ORPHAN_GRACE_S)
            reply = answer(judge_one, path, limits)
            set_alarm(0.0)
            pipe.send(reply)
    except (EOFError, OSError):
        return  # the parent has gone or wants no more


def answer(judge_one: JudgeOne, path: Path, limits: WorkerLimits) -> Reply:
    """Return the answer for one photograph; never raises for its sake."""
    start = time.perf_counter()
    result, error, retry, exhausted = None, None, False, False
    try:
        result = dict(judge_one(path))
    except LightplanError as refusal:
        error = str(refusal)
    except MemoryError:
        error, retry, exhausted = out_of_memory(path, limits), True, True
    except Exception as fault:  # noqa: BLE001 - one photograph must not end the batch
        what = " ".join(f"{type(fault).__name__}: {fault}".split())[:200]
        error = f"{path.name}: judging must end without a fault (got {what}); report this fault."
        retry = True
    seconds = time.perf_counter() - start
    return Reply(result=result, error=error, retry=retry, seconds=seconds, exhausted=exhausted)


def out_of_memory(path: Path, limits: WorkerLimits) -> str:
    """Return the sentence for a photograph that took too much memory."""
    return (
        f"{path.name}: judging must fit in {limits.memory_bytes >> 20} MB of memory"
        " (got more); export the photograph smaller."
    )


def set_alarm(seconds: float) -> None:
    """Have the system end this process after `seconds`; 0 calls it off."""
    if sys.platform != "win32":
        signal.setitimer(signal.ITIMER_REAL, seconds)
