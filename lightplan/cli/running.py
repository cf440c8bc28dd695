"""How every command runs: progress on stderr, one answer on stdout, exit codes."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Annotated, Any, NoReturn, TypeAlias

import typer

from lightplan.errors import BadInput, LightplanError

DONE, FAILED, BAD_INPUT, STOPPED = 0, 1, 2, 130

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
    except BadInput as error:
        parts = {"error": str(error), "field": error.field, "file": error.file}
        _leave(str(error), parts, BAD_INPUT, as_json=as_json)
    except LightplanError as error:
        _leave(str(error), {"error": str(error)}, FAILED, as_json=as_json)
    except KeyboardInterrupt:
        text = "Stopped; nothing was left half-written."
        _leave(text, {"error": text}, STOPPED, as_json=as_json)
    if as_json:
        print(json.dumps(answer.document, ensure_ascii=False, allow_nan=False))
    else:
        print("\n".join(answer.words))
    raise typer.Exit(answer.code)


def _leave(text: str, document: dict[str, Any], code: int, *, as_json: bool) -> NoReturn:
    print(text, file=sys.stderr)
    if as_json:
        print(json.dumps(document, ensure_ascii=False))
    raise typer.Exit(code)


def _with_progress(job: Job) -> Answer:
    """Run a job; on a terminal with a turning mark, else silently."""
    if not sys.stderr.isatty():
        return job(lambda _: None)
    from rich.console import Console  # only where somebody watches

    with Console(stderr=True).status("starting") as status:
        return job(lambda text: status.update(f"{text} …"))
