"""All commands."""

from __future__ import annotations

import io
import sys
from typing import Annotated, Any

import typer

from lightplan.cli import Ended, opening, planning, predicting, rigs, scoring, start_questions
from lightplan.cli.running import DONE, ENDED, FAILED, NOTHING_LOST, STOPPED, hush, say
from lightplan.faults import CAUGHT, as_told
from lightplan.progress import Stopped
from lightplan.version import __version__

# Typer shows its own errors raw, file names and all; their common base is public only by this.
_WRONG_WORDS: Any = typer.BadParameter.__mro__[2]

app = typer.Typer(
    name="lightplan",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    help=(
        "Plan, predict and judge the light for photographs of flat metallic goods.\n\n"
        "Begin with: lightplan demo"
    ),
)


def _version(wanted: bool) -> None:
    if wanted:
        print(f"lightplan {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    """Take the options that stand before a command."""


predicting.add_to(app)
planning.add_to(app)
scoring.add_to(app)
rigs.add_to(app)
opening.add_to(app)
start_questions.add_to(app)


def main() -> int:
    """Run the command line; return its exit code, whatever happens."""
    try:
        code = app(standalone_mode=False)
    except _WRONG_WORDS as error:
        told = io.StringIO()
        error.show(told)
        say(told.getvalue().rstrip("\n").split("\n"), sys.stderr)
        return int(error.exit_code)
    except (typer.Abort, KeyboardInterrupt, Stopped) as stop:
        say([NOTHING_LOST], sys.stderr)
        return ENDED if isinstance(stop, Ended) else STOPPED
    except BrokenPipeError:
        hush(sys.stdout)
        return FAILED
    except CAUGHT as error:
        hush(sys.stdout)
        say([str(as_told(error))], sys.stderr)
        return FAILED
    return code if isinstance(code, int) else DONE
