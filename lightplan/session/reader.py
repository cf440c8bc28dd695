"""Photographs decoded beside the page: in one process with limits, which is kept, and renewed.

A photograph can crash a decoder, and what crashes must not be the process that holds the maker's
work. To begin a process for each takes half a second; so one stays, and when a photograph has
ended it, the next photograph gets a new one.
"""

from __future__ import annotations

import os
import subprocess
import threading
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING, Any

from lightplan.errors import LightplanError, PhotoError
from lightplan.process import THREAD_SETTINGS, python_that_runs
from lightplan.session import decoding, messages

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

START_S = 120.0
CANNOT_BEGIN = "Photographs cannot be read now; free some memory and try again."
ENDED = "The page has ended; open it again."
TRIES = 2
"""A process may also end for want of memory elsewhere: no photograph is blamed for that once."""
_PROGRAM = "from lightplan.session.decoding import main; main()"
_Message = tuple[dict[str, Any], tuple[bytes, ...]]


@dataclass(frozen=True, eq=False)
class Reading:
    """What was read of a photograph: plain facts, and pictures or planes as bytes."""

    facts: Mapping[str, Any]
    bodies: tuple[bytes, ...]


class Reader:
    """One process that decodes photographs, one after the other, in the order they are asked for.

    Parameters
    ----------
    patience_s : float
        How long one photograph may take before its process is ended.
    program : str
        What the process runs.
    """

    def __init__(self, *, patience_s: float = decoding.TIME_S, program: str = _PROGRAM) -> None:
        self._patience_s, self._program = patience_s, program
        self._turns = ThreadPoolExecutor(1, thread_name_prefix="photographs")
        self._lock = threading.Lock()  # one thread begins the process, another may end it
        self._child: subprocess.Popen[bytes] | None = None
        self._closed = False

    def begin(self) -> None:
        """Start the process now, so that the first photograph does not wait for it."""
        self._turns.submit(self._ready_child)

    def ask(self, way: str, path: Path, **given: Any) -> Future[Reading]:
        """Have a photograph read; returns at once.

        Parameters
        ----------
        way : str
            What is asked of it: a name of `reading.WAYS`.
        path : Path
        **given
            What the way wants to know, as plain values.

        Returns
        -------
        Future of Reading
            Raises `PhotoError` where it cannot be read, with the file's name; also where it
            ended the process that read it, or took too long.
        """
        try:
            return self._turns.submit(self._read, way, path, given)
        except RuntimeError:
            raise LightplanError(ENDED) from None

    def close(self) -> None:
        """End the process, whatever it does; nothing can be asked afterwards."""
        with self._lock:
            self._closed = True
            child, self._child = self._child, None
        self._turns.shutdown(wait=False)
        if child is not None:
            _end(child)

    @property
    def process_id(self) -> int | None:
        """The process that reads, where there is one."""
        return None if self._child is None else self._child.pid

    def _read(self, way: str, path: Path, given: Mapping[str, Any]) -> Reading:
        order = {"way": way, "path": str(path.absolute()), "given": given}
        why = ""
        for _ in range(TRIES):
            found, is_late = self._answer(order)
            if found is not None:
                return _reading(found, path)
            if is_late:
                why = f"one that takes longer than {self._patience_s:g} s"
                break
            why = "one that ends the program that reads it"
        raise _refused(path, why)

    def _answer(self, order: Mapping[str, Any]) -> tuple[_Message | None, bool]:
        """Return what the process answers, None where it ended; and whether it was too slow."""
        child = self._ready_child()
        found, is_late = _heard(child, order, self._patience_s)
        if found is None:
            self._let_go(child)
        return found, is_late

    def _ready_child(self) -> subprocess.Popen[bytes]:
        """Return the process; where there is none, begin one and wait until it listens."""
        with self._lock:
            if self._closed:
                raise LightplanError(ENDED)
            child = self._child
            if child is not None:
                if child.poll() is None:
                    return child
                _end(child)  # it was ended from outside
            try:
                child = self._child = self._begun()
            except OSError:
                raise LightplanError(CANNOT_BEGIN) from None
        found, _ = _heard(child, None, START_S)
        if found is None:
            self._let_go(child)
            raise LightplanError(CANNOT_BEGIN)
        return child

    def _begun(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            python_that_runs(self._program),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=os.environ | dict.fromkeys(THREAD_SETTINGS, "1"),
        )

    def _let_go(self, child: subprocess.Popen[bytes]) -> None:
        with self._lock:
            if self._child is child:
                self._child = None
        _end(child)


def _heard(
    child: subprocess.Popen[bytes], order: Mapping[str, Any] | None, patience_s: float
) -> tuple[_Message | None, bool]:
    """Say something to a process and return its answer; None where it ended or spoke nonsense."""
    is_late = threading.Event()

    def end_late() -> None:
        is_late.set()
        child.kill()

    late = threading.Timer(patience_s, end_late)
    late.daemon = True
    late.start()
    try:
        if order is not None:
            messages.write(_pipe(child.stdin), order)
        return messages.read(_pipe(child.stdout)), False
    except (OSError, EOFError, ValueError, RecursionError):
        return None, is_late.is_set()
    finally:
        late.cancel()


def _pipe(stream: IO[bytes] | None) -> IO[bytes]:
    assert stream is not None
    return stream


def _end(child: subprocess.Popen[bytes]) -> None:
    child.kill()
    child.wait()
    for stream in (child.stdin, child.stdout):
        if stream is not None:
            try:
                stream.close()
            except OSError:  # what was to be said when it ended
                continue


def _reading(found: _Message, path: Path) -> Reading:
    told, bodies = found
    if told.get("is") == "read" and isinstance(told.get("facts"), dict):
        return Reading(told["facts"], bodies)
    if told.get("is") == "refused":
        field, wanted, got, cure = (str(told.get(name)) for name in decoding.PARTS)
        raise PhotoError(field=field, wanted=wanted, got=got, cure=cure, file=path.name)
    if told.get("is") == "failed":
        raise LightplanError(str(told.get("text")))
    raise _refused(path, "one that takes more")


def _refused(path: Path, got: str) -> PhotoError:
    return PhotoError(
        field="the photograph",
        wanted=f"one that is read within {decoding.MEMORY_BYTES >> 30} GB of memory",
        got=got,
        cure="export it again as JPEG, smaller",
        file=path.name,
    )
