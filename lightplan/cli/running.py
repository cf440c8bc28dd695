"""How every command runs: progress on stderr, one answer on stdout, exit codes."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Annotated, Any, NoReturn, TextIO, TypeAlias

import typer

from lightplan.cli import Ended
from lightplan.errors import BadInput
from lightplan.faults import CAUGHT, as_told
from lightplan.progress import Stopped
from lightplan.shown import printable, writable

DONE, FAILED, BAD_INPUT, STOPPED, ENDED = 0, 1, 2, 130, 143
NOTHING_LOST = "Stopped; nothing was left half-written."

SECONDS_BETWEEN_LINES = 10.0
"""Where nobody watches a turning mark."""

AsJson: TypeAlias = Annotated[
    bool, typer.Option("--json", help="Print one JSON object on stdout, and nothing else there.")
]
Replace: TypeAlias = Annotated[
    bool, typer.Option("--replace", help="Allow files of yours in the folder to be overwritten.")
]


@dataclass(frozen=True)
class Answer:
    """What a command has to say.

    Parameters
    ----------
    document : dict
        For --json.
    words : list of str
        Lines for the maker.
    code : int
        DONE, or FAILED when part of the work failed.
    """

    document: dict[str, Any]
    words: list[str] = field(default_factory=list)
    code: int = DONE


Job: TypeAlias = Callable[[Callable[[str], None]], Answer]


def run(job: Job, *, as_json: bool) -> NoReturn:
    """Do a job and leave with its exit code.

    Bad input gives one sentence on stderr and exit code 2; with --json also an object
    with the key "error".
    """
    try:
        answer = _with_progress(job)
        say_json(answer.document) if as_json else say(answer.words)
    except (KeyboardInterrupt, Stopped) as stop:
        code = ENDED if isinstance(stop, Ended) else STOPPED
        _leave(NOTHING_LOST, {"error": NOTHING_LOST}, code, as_json=as_json)
    except BrokenPipeError:  # who reads has read enough
        hush(sys.stdout)
        raise typer.Exit(FAILED) from None
    except CAUGHT as error:
        told = as_told(error)
        parts: dict[str, Any] = {"error": str(told)}
        if not isinstance(told, BadInput):
            _leave(str(told), parts, FAILED, as_json=as_json)
        parts |= {"field": told.field, "file": told.file, "line": told.line}
        parts["faults"] = [
            {"error": str(fault), "field": fault.field, "line": fault.line} for fault in told.faults
        ]
        _leave(str(told), parts, BAD_INPUT, as_json=as_json)
    raise typer.Exit(answer.code)


def say(lines: Iterable[str], to: TextIO | None = None) -> None:
    """Print lines in whatever encoding there is, with nothing in them that a terminal acts on."""
    stream = sys.stdout if to is None else to
    _print("\n".join(printable(part) for line in lines for part in line.split("\n")), stream)


def say_json(document: dict[str, Any]) -> None:
    """Print one JSON object in ASCII, which every encoding has."""
    _print(json.dumps(writable(document), allow_nan=False), sys.stdout)


def hush(stream: TextIO) -> None:
    """Send what is left to say nowhere, so that Python does not complain of it at its end."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())
        os.close(nowhere)
    except (OSError, ValueError):  # no real file, as in tests
        return


def _print(text: str, stream: TextIO) -> None:
    encoding = stream.encoding or "utf-8"
    try:
        stream.write(text.encode(encoding, "backslashreplace").decode(encoding) + "\n")
        stream.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        hush(stream)
        raise OSError(error.errno, error.strerror, "standard output") from None


def _leave(text: str, document: dict[str, Any], code: int, *, as_json: bool) -> NoReturn:
    try:
        say([text], sys.stderr)
        if as_json:
            say_json(document)
    except OSError:  # nowhere to say it: the exit code has to do
        hush(sys.stdout)
        hush(sys.stderr)
    raise typer.Exit(code)


def _now_and_then() -> Callable[[str], None]:
    """Return a teller that writes a line to a log or a pipe every ten seconds at most."""
    last = time.monotonic()

    def tell(text: str) -> None:
        nonlocal last
        if time.monotonic() - last >= SECONDS_BETWEEN_LINES:
            last = time.monotonic()
            print(printable(text), file=sys.stderr, flush=True)

    return tell


def _with_progress(job: Job) -> Answer:
    """Run a job; on a terminal with a turning mark, else with a line now and then."""
    if not sys.stderr.isatty():
        return job(_now_and_then())
    from rich.console import Console  # only where somebody watches
    from rich.markup import escape

    with Console(stderr=True).status("starting") as status:
        return job(lambda text: status.update(f"{escape(printable(text))} …"))
