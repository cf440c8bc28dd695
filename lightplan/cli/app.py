"""All commands."""

from __future__ import annotations

from typing import Annotated

import typer

from lightplan.cli import planning, predicting, rigs, scoring
from lightplan.version import __version__

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


def main() -> None:
    """Run the command line."""
    app()
